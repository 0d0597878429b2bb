// Pairs mixed from whole recorded pipes (open data): they speak, stand and die away, and one of
// the two may begin later or end earlier than the other.
#pragma once

#include "accuracy/pair_row.h"
#include "accuracy/recorded_pairs.h"

#include <random>

namespace rankwright::testing {

/// Draws unisons and hears them as `rankwright beats` hears a file: first where both sound, then
/// how they beat. One in three pairs each begin and end together, is joined by the one after 1 to
/// 2.5 s, or is left by the one so long before the other. True means are the phase slopes of each
/// alone, as it went into the mix, over what was heard of both but for the first quarter second of
/// each; over all of that where less than half a second of it was heard. The reference is known to
/// 0.05 cents. False when there aren't so many in the recordings.
bool judge_whole(PairRow& row, const RecordedPairs& wanted, std::mt19937_64& random);

}  // namespace rankwright::testing
