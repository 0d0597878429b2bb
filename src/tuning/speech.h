// When a pipe has spoken.
#pragma once

#include "core/units.h"

#include <algorithm>
#include <cmath>

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

/// Whether a pipe has stood since its tone began. Until then it may creep in, and what moves then
/// was moved by no hand. On its way it comes to stand for moments, as the ear hears it.
class Spoken {
  public:
    /// At a time of the stream that never runs backwards, a pipe stands `off` some pitch that is
    /// the same for all of a tone; `stood`: so long without moving.
    bool by(int tone, Seconds at, bool moving, Cents off, Seconds stood) {
        constexpr Seconds kStands{0.6};
        // Of one that creeps in (common practice, no source).
        constexpr Seconds kArrives{1.5}, kSlowest{6.0};
        constexpr Cents kStraysBy{0.7}, kCreepsBy{3.0};
        if (tone != tone_) {
            tone_ = tone;
            began_ = at;
            here_since_ = at - stood;
            first_ = here_ = off;
            spoken_ = creeps_ = false;
        }
        const auto apart = [](Cents a, Cents b) { return Cents{std::abs((a - b).value())}; };
        creeps_ = creeps_ || apart(off, first_) > kCreepsBy;
        if (moving || apart(off, here_) > kStraysBy) {
            here_ = off;
            here_since_ = at;
        }
        const Seconds here = std::min(stood, at - here_since_);
        spoken_ = spoken_ || here >= (creeps_ ? kArrives : kStands) || at - began_ > kSlowest;
        return spoken_;
    }
    /// It is on its way to where it will stand.
    bool creeps() const { return creeps_ && !spoken_; }

  private:
    int tone_ = -1;
    Seconds began_{0.0}, here_since_{0.0};
    Cents first_{0.0}, here_{0.0};
    bool spoken_ = false, creeps_ = false;
};

}  // namespace rankwright::tuning
