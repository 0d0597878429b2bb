// What the partials that a pipe may share with another say beside those it has to itself. A pipe
// that stands within tenths of a cent of a lower one's partials adds no line of its own; but those
// partials then stand elsewhere than the lower pipe's others, or are louder than these allow.
#pragma once

#include "listening/mixture_lines.h"
#include "listening/mixture_presence.h"

#include <cstddef>
#include <optional>
#include <span>

namespace rankwright::listening {

/// Of a pipe whose pitch is a multiple of a lower one's.
struct SharedPartials {
    double lower_cents = 0.0;   ///< where the lower pipe's own partials stand
    double shared_cents = 0.0;  ///< where those stand that both may have
    /// ln of how much likelier they are when both pipes sound within kCoincide_cents of one another
    /// than when the lower one sounds alone.
    double ln_ratio = 0.0;
};

inline constexpr double kCoincide_cents = 0.3;

/// Whether all partials of `pipe` meet partials of `lower`.
bool may_hide_behind(std::span<const MixtureReach> reach, std::size_t pipe, std::size_t lower);

/// Empty where the lower pipe has too little to compare. `state` holds the places of the pipes that
/// sound beside `pipe`, one unknown a pipe; `usual`: power that a fundamental may be expected to
/// have.
std::optional<SharedPartials> compare_shared(const MixtureSound& sound, const MixtureModel& model,
                                             const MixtureState& state,
                                             std::span<const MixtureReach> reach, std::size_t lower,
                                             std::size_t pipe, double usual);

}  // namespace rankwright::listening
