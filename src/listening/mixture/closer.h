// A closer look at a pipe that may hide among the partials of others.
#pragma once

#include "listening/mixture/lines.h"
#include "listening/mixture/presence.h"

#include <cstddef>
#include <optional>
#include <span>

namespace rankwright::listening {

/// Hears `pipe` once more beside the other present pipes of `state`, where it may hide: around
/// their places and its own likeliest one and, if any, where it `stood`, in all its partials, since
/// the higher part sooner. What `evidence` says of other places is kept. `state` has one unknown a
/// pipe.
PresenceEvidence look_closer(const MixtureSound& sound, const MixtureModel& model,
                             const MixtureState& state, std::span<const MixtureReach> reach,
                             std::size_t pipe, const PresenceEvidence& evidence,
                             std::optional<double> stood);

/// The same only around where the pipe `stood` when it was heard to sound a moment ago, at a fifth
/// of the cost: whether it still does.
PresenceEvidence look_there(const MixtureSound& sound, const MixtureModel& model,
                            const MixtureState& state, std::span<const MixtureReach> reach,
                            std::size_t pipe, double stood);

}  // namespace rankwright::listening
