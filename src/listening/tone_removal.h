// Takes one standing tone out of a recording, so that what it hides can be heard.
#pragma once

#include "core/units.h"

#include <algorithm>
#include <span>

namespace rankwright::listening {

/// How far a line reaches: what stands so near can't be told from it in a second or two. A pipe
/// wanders by some tenths of a cent (common practice, no source), which is more the higher it is.
inline Hertz line_reach(Hertz line) { return Hertz{std::max(4.0, line.value() / 500.0)}; }

/// Subtracts from `samples` what stands near `lines` (at a quarter of line_reach it takes the
/// greater part), all through: the partials of a pipe that won't stop sounding. Others' partials
/// within their reach go with them, or lose a part.
void remove_lines(std::span<float> samples, SampleRate rate, std::span<const Hertz> lines);

}  // namespace rankwright::listening
