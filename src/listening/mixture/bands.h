// The sound of a key's pipes, cut into bands wherever partials of theirs can lie.
#pragma once

#include "core/units.h"

#include <cstddef>
#include <span>
#include <vector>

namespace rankwright::listening {

/// A pipe's pitch is told by its partials up to this one; higher ones only stand where other pipes'
/// partials do.
inline constexpr int kHighestTold = 32;

struct MixtureTone {
    std::size_t pipe = 0;
    int partial = 1;
    bool tells() const { return partial <= kHighestTold; }
};

struct MixtureBand {
    std::vector<MixtureTone> tones;
    double centre_hz = 0.0;
    double half_width_hz = 0.0;
    double rate = 0.0;     ///< samples a second
    double first_s = 0.0;  ///< time of the first sample, from the middle of the span
    double floor = 0.0;    ///< variance of a sample by the noise between the lines
    double line = 0.0;     ///< amplitude squared of the strongest line, over that of noise in the
                           ///< span's resolution
    std::vector<double> re, im;
    std::size_t size() const { return re.size(); }
};

/// Where a pipe's pitch is looked for.
struct MixtureReach {
    double nominal_hz = 0.0;
    double low = 0.0, high = 0.0;  ///< fractions of the nominal pitch
    double highest_hz = 0.0;       ///< partials up to here
};

/// Groups partials whose reaches come too near to one another to be filtered apart. Bands with more
/// than `most_tones` are left out.
std::vector<MixtureBand> plan_bands(std::span<const MixtureReach> pipes, double seconds,
                                    std::size_t most_tones, double margin_hz);
/// Fills a planned band. False when the span is too short for its filter.
bool cut_band(MixtureBand& band, std::span<const float> samples, SampleRate rate);

}  // namespace rankwright::listening
