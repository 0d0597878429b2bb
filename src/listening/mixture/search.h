// Looks for the pitches of a key's pipes.
#pragma once

#include "listening/mixture/fit.h"

#include <vector>

namespace rankwright::listening {

/// Explanations of the bands, best first.
std::vector<MixtureState> search_mixture(MixtureFit& fit, std::span<const MixtureReach> reach);

struct MixturePeak {
    double cents = 0.0;
    double score = 0.0;
};
/// Where a pipe that isn't in `state` would best explain what is left; best first.
std::vector<MixturePeak> scan_pipe(MixtureFit& fit, const MixtureState& state, std::size_t pipe,
                                   const MixtureReach& reach, std::size_t most);

/// Tries every two of those that are there, `apart_cents` or more from one another, in one
/// another's place; true when `state` became better.
bool swap_mixture(MixtureFit& fit, MixtureState& state, std::span<const MixtureReach> reach,
                  double apart_cents, int steps);

/// Tries other places for every pipe, the places of others and exchanges; true when `state` became
/// better. `steps`: of the fit for every trial; `also`: more places to try, by pipe, or empty.
bool polish_mixture(MixtureFit& fit, MixtureState& state, std::span<const MixtureReach> reach,
                    int steps, bool scan, std::span<const std::vector<double>> also = {});

}  // namespace rankwright::listening
