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

/// Whether a pipe has stood since its tone began. Until then it may creep in: a slow one does for
/// two seconds (common practice, no source), and what moves then was moved by no hand.
class Spoken {
  public:
    /// At a time of the stream that never runs backwards; `stood`: so long without moving.
    bool by(int tone, Seconds at, bool moving, Seconds stood) {
        constexpr Seconds kStands{0.6}, kSlowest{2.5};
        if (tone != tone_) {
            tone_ = tone;
            began_ = at;
            spoken_ = false;
        }
        spoken_ = spoken_ || (!moving && stood >= kStands) || at - began_ > kSlowest;
        return spoken_;
    }

  private:
    int tone_ = -1;
    Seconds began_{0.0};
    bool spoken_ = false;
};

}  // namespace rankwright::tuning
