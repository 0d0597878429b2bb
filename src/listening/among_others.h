// One pipe in a recording, with another beside it or alone.
#pragma once

#include "listening/reading.h"

#include <optional>
#include <span>

namespace rankwright::listening {

/// What is known of the pipe before it is heard.
struct SoughtPipe {
    std::optional<Hertz> near;  ///< within a semitone
    bool all_through = false;   ///< it stands from the first sample to the last
};

struct PipeHeard {
    PitchReading reading;
    std::optional<Hertz> other;  ///< the pitch of another pipe that sounds where it was heard
    /// So much of the uncertainty is what is left of its speech.
    Hertz unsettled{0.0};
};

/// measure_pipe (of a pipe that stands all through) or measure_standing of one channel. Two pipes
/// that are read at a fundamental which neither has are told apart, and the louder one is read; the
/// one near `near` is read though others are louder. Not every other pipe is looked for: see
/// with_what_sounds_beside. Frames count from the beginning of `samples`. Empty when no steady pipe
/// is heard, or none near `near`.
std::optional<PipeHeard> hear_pipe(std::span<const float> samples, SampleRate rate,
                                   const SoughtPipe& sought);

/// `heard` in these samples, with the other pipe if there is one (other_tone), and read again
/// without its partials. Unless it was sought by its pitch, the louder of the two is read, or the
/// lower one of two that are as loud.
PipeHeard with_what_sounds_beside(std::span<const float> samples, SampleRate rate,
                                  const SoughtPipe& sought, PipeHeard heard);

}  // namespace rankwright::listening
