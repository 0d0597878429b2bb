// Pairs made here, of any interval, level, beat, noise and time heard.
#pragma once

#include "accuracy/pair_row.h"

#include <random>

namespace rankwright::testing {

/// Without wander in white noise, judged against the Cramér–Rao bound.
void judge_steady(PairRow& row, int count, std::mt19937_64& random);

enum class Disturbed { wander, room, blower };
/// So many seconds each: both wandering by 0.3 cents, or in a room, or in noise that falls with
/// frequency.
void judge_disturbed(PairRow& row, Disturbed by, int count, std::mt19937_64& random,
                     double seconds = 2.4);

}  // namespace rankwright::testing
