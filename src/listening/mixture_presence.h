// Which of a key's pipes sound.
#pragma once

#include "listening/mixture_fit.h"

#include <cstddef>
#include <span>
#include <vector>

namespace rankwright::listening {

/// How much more likely the sound is when a pipe sounds or leaks somewhere within its reach than
/// when it is silent: a ratio of likelihoods, integrated over its place and level.
struct PresenceEvidence {
    double ln_ratio = 0.0;
    double cents = 0.0;  ///< the likeliest place, if it sounds
};

/// Judges the pipes of `state`: takes out those that others explain as well, puts in those that
/// were missed. Afterwards `state` holds the pipes that surely sound. Returns the evidence of each.
/// \pre `fit` has bands for the whole reach of every pipe.
std::vector<PresenceEvidence> judge_presence(MixtureFit& fit, MixtureState& state,
                                             std::span<const MixtureReach> reach);

/// Likelihood ratios above which a pipe is said to sound, and below which to be silent.
inline constexpr double kSurelySounds = 6.0;  // ln
inline constexpr double kSurelySilent = -1.6;

}  // namespace rankwright::listening
