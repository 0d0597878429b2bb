// Whether a second pipe sounds beside the one that was read.
#pragma once

#include "listening/reading.h"

#include <optional>
#include <span>

namespace rankwright::listening {

struct OtherTone {
    Hertz pitch;
    Decibels level;  ///< by all partials that it doesn't share, against all of the one read
};

/// A second harmonic tone that stands through `samples` (one channel, where `one` was read), at
/// most 25 dB softer: found in what is left when the partials of `one` are taken out. Empty where
/// there is none; of a unison, and of a tone at a whole multiple or fraction of `one`, nothing is
/// said; nor of mains hum. At most the middle two seconds are heard.
std::optional<OtherTone> other_tone(std::span<const float> samples, SampleRate rate,
                                    const PitchReading& one);

struct TwoTones {
    PitchReading lower;
    Hertz upper;
};

/// Two pipes a third to a sixth apart that were read as one, `read`, at a fundamental that neither
/// has: it has partials at the whole multiples of two of its numbers and nowhere else. `samples`
/// as above; frames of the reading count from their beginning. Empty for a pipe's own partials.
std::optional<TwoTones> two_read_as_one(std::span<const float> samples, SampleRate rate,
                                        const PitchReading& read);

}  // namespace rankwright::listening
