// Whether a reference and a pipe are still what they were, from step to step of the stream.
#pragma once

#include "core/units.h"
#include "listening/pair/follower.h"

namespace rankwright::listening {

/// Compares what is heard with what the last answer foretells. What ends takes its time in a room:
/// while a tone falls nothing is to be read.
class PairChanges {
  public:
    enum class What {
        nothing,
        moved,           ///< one of them no longer has its pitch
        reference_gone,  ///< the pipe is left alone
        pipe_gone,       ///< the reference is left alone
        all_gone,
    };

    explicit PairChanges(SampleRate rate) : rate_(rate) {}

    /// Other tones sound, or may.
    void restart(FrameIndex now);
    /// The same were looked for again, which gives other bands with other powers. `moving`: one of
    /// them may as well be ending.
    void look_again(const PairFollower::Foretold& heard, bool moving);
    /// Nothing of this moment says anything.
    void hide(FrameIndex now) { changing_ = ending_ = now; }

    /// `shared`: how the sound is shared between two isn't known.
    What judge(const PairFollower& follower, bool shared, FrameIndex now);

    /// One of them, or both, end.
    bool falling() const { return falling_; }
    /// Since when.
    FrameIndex fell() const { return fell_; }

  private:
    What judge_end(const PairFollower::Foretold& heard, bool two, bool shared, FrameIndex now);
    double learn_stray(const PairFollower::Foretold& heard);
    Seconds since(FrameIndex then, FrameIndex now) const { return duration(now - then, rate_); }

    SampleRate rate_;
    FrameIndex changing_, ending_, fell_;
    bool falling_ = false;
    double usual_[2] = {};  // power of each
    double stray_ = 1.0;    // of these pipes, in power, against usual
};

}  // namespace rankwright::listening
