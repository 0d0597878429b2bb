// Whether a sound is two tones, or one with its unrest.
#pragma once

#include "listening/pair/fit.h"
#include "listening/pair/pair.h"
#include "listening/pair/plan.h"
#include "listening/pair/search.h"

#include <span>

namespace rankwright::listening {

/// What two explain must be worth so much more (ln of evidence) than what one does before no unrest
/// of one passes for the second. Of simulated pipes what two in tune left had gains up to 43, pipes
/// 21 to 24 dB softer 104 to 340; of 44 recorded pipes alone in which a second tone was found those
/// that seemed to beat had up to 28, one 99.
inline constexpr double kNoUnrest = 60.0;

/// The best that one tone explains of the sound that `alone` was given, whose bands are none of the
/// pipe's: it may stand where either of the two of `best` was found.
PairState one_tone(PairFit& alone, const PairModel& model, const PairPlace& best, int steps);

/// By how much more (ln of evidence) the two of `best` explain `samples` than one tone does, which
/// may wander twice as finely.
double gain_of_two(std::span<const float> samples, const PairRequest& request, const PairPlan& plan,
                   const PairPlace& best);

}  // namespace rankwright::listening
