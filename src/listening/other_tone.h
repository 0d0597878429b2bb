// Whether a second pipe sounds beside the one that was read.
#pragma once

#include "listening/reading.h"

#include <optional>
#include <span>
#include <vector>

namespace rankwright::listening {

/// What is softer beside another pipe isn't told from what that one leaves when it is taken out.
inline constexpr Decibels kSoftestBeside{-25.0};

struct OtherTone {
    PitchReading reading;
    Decibels level;  ///< own_level against the one read
};

/// A second harmonic tone that stands through `samples` (one channel, where `one` was read), at
/// most 25 dB softer: found in what is left when the partials of `one` are taken out. Empty where
/// there is none; of a unison, and of a tone at a whole multiple or fraction of `one`, nothing is
/// said; nor of mains hum. At most the middle two seconds are heard.
std::optional<OtherTone> other_tone(std::span<const float> samples, SampleRate rate,
                                    const PitchReading& one);

struct TwoAsOne {
    std::optional<PitchReading> louder;  ///< empty where it can't be read by itself
};

/// Two pipes up to a sixth apart that were read as one, `read`, at a fundamental that neither has:
/// it has partials at the whole multiples of two of its numbers and hardly any elsewhere. `samples`
/// as above; frames of the reading count from their beginning. Empty for a pipe's own partials.
std::optional<TwoAsOne> two_read_as_one(std::span<const float> samples, SampleRate rate,
                                        const PitchReading& read);

/// Whether each partial of the one is the other's too.
bool is_multiple(Hertz one, Hertz other);

/// Where the partials of a reading stand, those too that aren't listed below its highest.
std::vector<Hertz> lines_of(const PitchReading& reading);

/// How loud a reading is by those of its partials that none of `lines` reaches, against all of
/// `louder`.
Decibels own_level(const PitchReading& reading, std::span<const Hertz> lines,
                   const PitchReading& louder);

/// What all those partials of `reading` are multiples of, but for a faint rest, that none of
/// `lines` reaches: 2 where it was read an octave low, because partials of another tone filled the
/// gaps.
int common_number(const PitchReading& reading, std::span<const Hertz> lines);

/// measure_pipe near `near` in `samples` without what stands at `lines`.
std::optional<PitchReading> measure_without(std::span<const float> samples, SampleRate rate,
                                            Hertz near, std::span<const Hertz> lines);

}  // namespace rankwright::listening
