// What a converter leaves of the highest frequencies.
#pragma once

namespace rankwright::listening {

/// Of the sampling rate: above it converters' filters bend the phase. Common practice, no source.
inline constexpr double kTrueShare = 0.45;
/// Above it neither microphones nor pipes have much to tell.
inline constexpr double kHighest_hz = 20000.0;

}  // namespace rankwright::listening
