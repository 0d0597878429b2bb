// How a pipe came to its pitch, from a recording of it.
#pragma once

#include "core/units.h"
#include "tuning/tones_heard.h"

#include <optional>
#include <span>

namespace rankwright::tuning {

/// A pipe as it spoke.
struct WayIn {
    FrameIndex from;     ///< its first sound that was measured
    FrameIndex to;       ///< its last
    bool crept = false;  ///< it stood some cents from where it stands at last …
    FrameIndex arrived;  ///< … until then
};

/// The ear may need so long of a slow pipe before it calls it a tone.
inline constexpr Seconds kMissedOnset{1.3};

/// Measures `samples` (one channel, the first of them frame `first`) piece by piece along `tone`,
/// up to `kMissedOnset` before its onset too, and on to their end, where the ear may have lost it.
/// Partials beside the lines `taken_out` of the sound tell nothing. Empty where too little of it is
/// read.
std::optional<WayIn> way_in(const HeardTone& tone, FrameIndex first, std::span<const float> samples,
                            SampleRate rate, std::span<const Hertz> taken_out = {});

}  // namespace rankwright::tuning
