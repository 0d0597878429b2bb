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
};

/// The mean pitch of the pipe that sounds through all of `samples` (one channel), with its
/// uncertainty. `near`: within a semitone of it where the pitch is known; otherwise found between
/// 15.4 Hz and 8.4 kHz. Empty when no steady pipe is heard. Frames count from 0.
std::optional<PitchReading> measure_pipe(std::span<const float> samples, SampleRate rate,
                                         std::optional<Hertz> near = std::nullopt);

/// Where one pipe stands, after its speech and before its end; of several notes in `samples` the
/// one that stands longest (a louder one preferred a little), or the one near `near`. A short knock
/// or word may lie inside. Empty when there is none of at least a quarter second.
std::optional<SteadySpan> find_steady(std::span<const float> samples, SampleRate rate,
                                      std::optional<Hertz> near = std::nullopt);

}  // namespace rankwright::listening
