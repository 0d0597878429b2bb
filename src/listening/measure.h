// Reads one pipe from samples already at hand (a recording).
#pragma once

#include "listening/reading.h"

#include <optional>
#include <span>

namespace rankwright::listening {

/// Where a pipe stands steadily.
struct SteadySpan {
    std::size_t first = 0;
    std::size_t count = 0;
    /// So much, either way, what is left of its speech still moves the mean pitch; 0 where unknown.
    Hertz unsettled{0.0};
};

/// The mean pitch of the pipe that sounds through all of `samples` (one channel), with its
/// uncertainty. `near`: within a semitone of it where the pitch is known; otherwise found between
/// 15.4 Hz and 8.4 kHz. `beside`: what other tones sound, or what was taken out of the sound; it
/// isn't found by lines that stand there, and its partials that these reach (line_reach) are
/// listed, but its pitch doesn't rest on them.
/// Empty when no steady pipe is heard, or none of its partials is clear of those. Frames count
/// from 0.
std::optional<PitchReading> measure_pipe(std::span<const float> samples, SampleRate rate,
                                         std::optional<Hertz> near = std::nullopt,
                                         std::span<const Hertz> beside = {});

/// Whether one of `lines` reaches that partial.
bool is_beside(Hertz partial, std::span<const Hertz> lines);

/// `part`, read in a part of a recording that begins at `first`, as a reading of the whole:
/// besides, as uncertain as `unsettled` makes it.
PitchReading reading_of_part(PitchReading part, FrameIndex first, Hertz unsettled);

struct StandingPipe {
    PitchReading reading;
    /// So much of its uncertainty is what is left of its speech.
    Hertz unsettled{0.0};
};

/// measure_pipe of where find_steady has the pipe standing, and at least as uncertain as that makes
/// it. Frames count from the beginning of `samples`. Empty when either is.
std::optional<StandingPipe> measure_standing(std::span<const float> samples, SampleRate rate,
                                             std::optional<Hertz> near = std::nullopt,
                                             std::span<const Hertz> beside = {});

/// Where one pipe stands, after its speech and before its end; of several notes in `samples` the
/// one that stands longest (a louder one preferred a little), or the one near `near`. A short knock
/// or word may lie inside. `beside` as measure_pipe has it. Empty when there is none of at least a
/// quarter second.
std::optional<SteadySpan> find_steady(std::span<const float> samples, SampleRate rate,
                                      std::optional<Hertz> near = std::nullopt,
                                      std::span<const Hertz> beside = {});

}  // namespace rankwright::listening
