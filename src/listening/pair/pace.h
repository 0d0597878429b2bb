// How the beat of a pair at rest goes on: its drift, and how it beats now while it drifts.
#pragma once

#include "core/units.h"
#include "listening/pair/follower.h"
#include "listening/reading.h"

#include <algorithm>
#include <cstddef>
#include <optional>
#include <vector>

namespace rankwright::listening {

/// Keeps the beats of late, each over the last part of a second. Allocates at construction only.
class PairPace {
  public:
    /// What a follower's answer rests on.
    struct Span {
        Seconds heard;
        FrameIndex end;
        SampleRate rate;
        Hertz meets;         ///< where the two meet first
        bool moved = false;  ///< it begins where the pipe was seen to move
    };
    /// The end of a span, which is compared with the whole.
    static constexpr Seconds kEnd{0.6};
    /// Of a pair that is seen to drift, what is read.
    static constexpr Seconds kNow{0.3};

    PairPace() { paces_.reserve(kMost); }
    void clear();
    /// Takes the newest answer. Requires follower.two().
    void judge(PairFollower& follower, const Span& span);

    /// The same of a pipe that moves, whose looks are short: what it beats at their end alone.
    void read_end(PairFollower& follower, const Span& span) {
        read_end(follower, span, follower.part(0.5 - std::min(1.0, kEnd / span.heard), 0.5));
    }

    /// Least-squares slope over the last two seconds, hertz a second; empty before one is seen.
    std::optional<double> drift() const;
    /// Over the newest kNow, while the mean over the span says how they beat half a span ago.
    const std::optional<BeatReading>& now() const { return now_; }
    /// How far the mean over the span may be from how they beat now, where what was seen to move
    /// may go on too slowly to be seen; else 0.
    Hertz astray() const { return Hertz{astray_}; }
    /// Over the newest kEnd, as last judged.
    Hertz latest() const { return Hertz{paces_.back().part.beat}; }
    /// The span has grown too long: the whole no longer says what its end says.
    bool outgrown() const { return outgrown_; }
    /// A pair that beat a few seconds ago hardly does: the pipe was moved there, or through it.
    bool came_near() const { return came_near_; }
    /// The two, as they are followed, leave much more unexplained than they did: one of them is no
    /// longer where it is followed.
    bool lost() const { return lost_ >= kLostFor; }
    /// They were looked for again, in other bands.
    void looked_again() { left_least_.reset(); }

  private:
    void read_end(PairFollower& follower, const Span& span, const PairFollower::Part& late);
    void add(Seconds at, const PairFollower::Part& part);
    void judge_left(const PairFollower& follower, const Span& span);
    /// By how much wander alone makes parts of a span differ, at most (hertz, where they meet).
    static double most_wander(const PairFollower& follower, const Span& span);

    static constexpr std::size_t kMost = 24;
    static constexpr int kLostFor = 2;  // answers: a word or a knock leaves more in one
    struct Pace {
        double at_s;
        PairFollower::Part part;
    };
    std::vector<Pace> paces_;
    std::optional<BeatReading> now_;
    double going_ = 0.0;  // by how much the halves last differed, while that is a movement
    double astray_ = 0.0;
    bool outgrown_ = false, came_near_ = false;
    std::optional<double> left_least_;  // of the two's power, what they left of it
    int lost_ = 0;                      // answers
};

}  // namespace rankwright::listening
