// Whether a tone's pitch, as the ear took it, is its own: or an undertone or an overtone of it.
#pragma once

#include "core/units.h"
#include "tuning/tones_heard.h"

#include <span>

namespace rankwright::tuning {

/// Level of the tone's partials together, but for those beside the lines `taken_out` of the sound.
Decibels clear_level(const HeardTone& tone, std::span<const Hertz> taken_out);

/// Of which multiple of its pitch alone the tone has partials; those beside the lines `taken_out`
/// tell nothing. 1: it has others, or nobody knows.
int times_of(const HeardTone& tone, std::span<const Hertz> taken_out);

/// Whether odd multiples of half its pitch stand as well, all through `samples` (one channel of the
/// time that it was read in): where the fundamental lies in a node of the room, the ear may take
/// the octave for the note. What rings of another key dies away.
bool sounds_an_octave_lower(const HeardTone& tone, std::span<const float> samples, SampleRate rate,
                            std::span<const Hertz> taken_out);

}  // namespace rankwright::tuning
