// What the partials that only one of two pipes has tell: where the reference sounds, and whether
// both are there at all.
#pragma once

#include "listening/pair/pair.h"
#include "listening/pair/plan.h"
#include "listening/pair/search.h"

#include <optional>
#include <span>

namespace rankwright::listening {

/// The reference's pitch over the span where partials that the pipe hasn't contradict what is known
/// of it; within 20 cents. Empty where they don't, where there are none (a unison, a pipe below its
/// reference), and where they tell nothing clearly. `plan`: of that request.
std::optional<Hertz> contradicted_by_own(std::span<const float> samples, const PairRequest& request,
                                         const PairPlan& plan);

/// Whether a pipe that `place` hears where the two meet has no other partials: then it isn't there,
/// and the other one's unrest was taken for it. False where noise would hide them, and in a unison.
bool lacks_own(std::span<const float> samples, const PairRequest& request, const PairPlan& plan,
               const PairPlace& place);

}  // namespace rankwright::listening
