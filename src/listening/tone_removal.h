// Takes one standing tone out of a recording, so that what it hides can be heard.
#pragma once

#include "core/units.h"

#include <span>

namespace rankwright::listening {

/// Subtracts from `samples` what stands within about a hertz of `pitch` and its multiples, all
/// through: a pipe that won't stop sounding. Others' partials so near go with it.
void remove_tone(std::span<float> samples, SampleRate rate, Hertz pitch);

}  // namespace rankwright::listening
