// When a pipe has spoken.
#pragma once

#include "core/units.h"

namespace rankwright::tuning {

/// From which frame on a pipe of `pitch` (> 0) has spoken that began at `from`. Until then it may
/// stand tens of cents off, and that is its true pitch then: no figure to tune by. 0.1 s and 30
/// periods; onsets take 10 to 40 periods (from memory; Nolle & Finch, JASA 91, 1992).
inline FrameIndex speech_over(FrameIndex from, Hertz pitch, SampleRate rate) {
    constexpr double kPeriods = 30.0;
    constexpr Seconds kLeast{0.1};
    const double seconds = kLeast.count() + kPeriods / pitch.value();
    return from + static_cast<std::int64_t>(seconds * rate.value());
}

}  // namespace rankwright::tuning
