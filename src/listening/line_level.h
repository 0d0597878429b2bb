// How strong one steady tone is inside a span, whatever else sounds.
#pragma once

#include "core/units.h"

#include <span>

namespace rankwright::listening {

/// Level of the sine at `hz` through all of `samples`, 0 dB = a full-scale sine, under a Hann
/// window: tones more than 4 / (length in seconds) hertz away don't count. −200 for no samples.
Decibels line_level(std::span<const float> samples, SampleRate rate, Hertz hz);

}  // namespace rankwright::listening
