// What listening says about one pipe.
#pragma once

#include "core/units.h"

#include <array>
#include <cstddef>

namespace rankwright::listening {

/// Level of one partial.
struct PartialLevel {
    int number = 1;
    Decibels level;  ///< of the partial's amplitude, 0 dB = a full-scale sine
};

inline constexpr std::size_t kMostPartials = 64;

/// The partials that a reading rests on, lowest first. Fixed size: made in steady listening, which
/// doesn't allocate.
struct Partials {
    std::array<PartialLevel, kMostPartials> list{};
    std::size_t count = 0;
    const PartialLevel* begin() const { return list.data(); }
    const PartialLevel* end() const { return list.data() + count; }
};

/// The pitch of one pipe over a span.
struct PitchReading {
    Hertz pitch;           ///< mean over the span for a file; pitch now, for a live reading
    Hertz sd;              ///< standard uncertainty: 68 % of errors within 1 of it, 95 % within 2
    FrameIndex from;       ///< first frame the reading rests on
    FrameIndex to;         ///< one past the last
    Decibels snr;          ///< total harmonic power over noise power in the whole band
    double clipped = 0.0;  ///< share of the span's samples at the converter's limit, 0 to 1
    Partials partials;

    Cents cents_sd() const { return interval(pitch, pitch + sd); }
};

}  // namespace rankwright::listening
