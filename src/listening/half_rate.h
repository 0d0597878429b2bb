// Sound at half its sampling rate: what a fast recording holds above hearing tells of no pipe, and
// costs as much to look through as what is below.
#pragma once

#include "core/units.h"

#include <cstddef>
#include <span>
#include <vector>

namespace rankwright::listening {

/// Recordings at this rate or a faster one are halved: at half of it partials reach to 20 kHz.
inline constexpr SampleRate kHalvedFrom{80000.0};

/// Every second sample of a sound of which the upper half was taken away.
struct HalvedSound {
    std::vector<float> samples;
    std::size_t first = 0;  ///< the frame of the whole sound at which the first of these lies
    std::size_t frame_of(std::size_t sample) const { return first + 2 * sample; }
};

/// By a linear-phase half-band filter (Kaiser's window): flat to 0.44 of the new rate, over 80 dB
/// down from 0.56 on. The ends, where the filter would see past the sound, are left out (1 ms at
/// 96 kHz); empty for a sound that is no longer than that.
HalvedSound half_rate(std::span<const float> samples);

}  // namespace rankwright::listening
