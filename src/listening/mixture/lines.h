// Which bands of a key's sound are worth hearing.
#pragma once

#include "listening/mixture/bands.h"
#include "listening/pair/bands.h"

#include <span>
#include <vector>

namespace rankwright::listening {

/// A span of sound with its noise. Keeps no copy of the samples.
struct MixtureSound {
    MixtureSound(std::span<const float> heard, SampleRate sampled_at)
        : samples(heard),
          rate(sampled_at),
          seconds(static_cast<double>(heard.size()) / sampled_at.value()),
          noise(heard, sampled_at) {}

    std::span<const float> samples;
    SampleRate rate;
    double seconds;
    NoiseFloor noise;
};

/// Power of the strongest line where the pipes may have partials: none of theirs, perhaps.
double strongest_line(const MixtureSound& sound, std::span<const MixtureReach> reach);

/// For the search: the lowest partials of every pipe, heard or not, and those up to `highest` where
/// something stands out. Bands whose filter doesn't fit the span are left out.
std::vector<MixtureBand> search_bands(const MixtureSound& sound,
                                      std::span<const MixtureReach> reach, int highest);

/// For pipes whose pitch is nearly known: the fundamentals, then what tells most of the pitches.
std::vector<MixtureBand> fine_bands(const MixtureSound& sound, std::span<const MixtureReach> near);

/// Bands where one of the pipes has partials: its lowest, then those where most is heard.
std::vector<MixtureBand> bands_around(const MixtureSound& sound, std::span<const MixtureReach> near,
                                      std::size_t pipe);

}  // namespace rankwright::listening
