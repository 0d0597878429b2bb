// What the partials that a pipe may share with another say beside those it has to itself. A pipe
// that stands within tenths of a cent of a lower one's partials adds no line of its own; but those
// partials then stand elsewhere than the lower pipe's others, or are louder than these allow.
#pragma once

#include "listening/mixture/lines.h"
#include "listening/mixture/presence.h"

#include <cstddef>
#include <span>

namespace rankwright::listening {

inline constexpr double kCoincide_cents = 0.3;

/// Counts in `evidence` what lower pipes' partials say where `pipe` would stand behind them.
/// `state` holds the places of the pipes that sound beside it, one unknown a pipe.
void hear_behind(const MixtureSound& sound, const MixtureModel& model, const MixtureState& state,
                 std::span<const MixtureReach> reach, std::size_t pipe, PresenceEvidence& evidence);

}  // namespace rankwright::listening
