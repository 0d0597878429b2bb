// Whether the pipe joins while two are held already: then what was taken for it was the reference's
// own unrest, or the room.
#pragma once

#include "core/units.h"
#include "listening/pair/follower.h"
#include "listening/pair/watch.h"

namespace rankwright::listening {

class PairNewcomer {
  public:
    explicit PairNewcomer(SampleRate rate) : rate_(rate) {}

    /// At every step: how long the pipe's own partials have stood out.
    void note(const PairWatch& watch, FrameIndex now);
    /// A new key.
    void forget() { own_heard_ = true; }
    /// What sounds now was looked for, in the last `span`.
    void looked(const PairWatch& watch, Seconds span, FrameIndex now);
    /// Nothing of this moment says anything.
    void hide(FrameIndex now) { usual_until_ = hidden_ = now; }
    /// The pipe's own partials began since, or another tone stands beside the followed bands.
    bool comes(const PairWatch& watch, const PairFollower& follower, FrameIndex now);
    /// Far more stands beside what is followed: another key's pipe, or what that left in the room.
    bool drowns(const PairWatch& watch, const PairFollower& follower, FrameIndex now) const;
    /// Since when.
    FrameIndex since() const { return usual_until_; }

  private:
    bool stands_beside(const PairWatch& watch, const PairFollower& follower, FrameIndex now) const;
    /// By `share` of what is followed.
    bool beside(const PairWatch& watch, const PairFollower& follower, FrameIndex now,
                double share) const;

    SampleRate rate_;
    bool own_heard_ = true;  // the pipe's own partials, when it was looked for
    double own_power_ = 0.0;
    FrameIndex usual_until_, hidden_, silent_until_;
};

}  // namespace rankwright::listening
