#include "listening/pair/newcomer.h"

#include <cmath>

namespace rankwright::listening {

namespace {

constexpr Seconds kHolds{0.1};
/// Against their power when the pipe was looked for, which may have been noise.
constexpr double kOwnRise = 4.0;
/// Of the span looked through it has to have sounded.
constexpr double kSoundedFor = 0.6;
/// Beside what is followed, as a share of it; the rustle of recorded pipes stays far below.
constexpr double kBesideShare = 0.15;
/// What is followed beside another key's pipe, or what that left in the room, is no tone of its own
/// (simulated ones alone have 0.2 of their power beside them at most, such remains 7 to 60000).
constexpr double kDrowns = 3.0;
constexpr double kJoinsOverNoise = 2.0;
/// Compared over the same span, which both filters have passed, so that beats are in both.
constexpr Seconds kFrom{0.25}, kTo{0.08};

}  // namespace

void PairNewcomer::note(const PairWatch& watch, FrameIndex now) {
    if (!watch.pipe_sounds() || watch.pipe_missing()) silent_until_ = now;
}

void PairNewcomer::looked(const PairWatch& watch, Seconds span, FrameIndex now) {
    // Of a pipe that set in only just, what was looked through says nothing: it comes yet.
    const bool late = watch.pipe_sounds() && !own_heard_ &&
                      duration(now - silent_until_, rate_) < kSoundedFor * span;
    if (!late) {
        own_heard_ = watch.pipe_sounds();
        own_power_ = watch.own_power();
    }
    usual_until_ = now;
}

bool PairNewcomer::comes(const PairWatch& watch, const PairFollower& follower, FrameIndex now) {
    const bool own =
        !own_heard_ && watch.pipe_sounds() && watch.own_power() > kOwnRise * own_power_;
    const bool hidden = duration(now - hidden_, rate_) < kFrom;
    if (hidden || (!own && !stands_beside(watch, follower, now))) usual_until_ = now;
    return duration(now - usual_until_, rate_) >= kHolds;
}

bool PairNewcomer::stands_beside(const PairWatch& watch, const PairFollower& follower,
                                 FrameIndex now) const {
    return beside(watch, follower, now, kBesideShare);
}

bool PairNewcomer::drowns(const PairWatch& watch, const PairFollower& follower,
                          FrameIndex now) const {
    return beside(watch, follower, now, kDrowns);
}

bool PairNewcomer::beside(const PairWatch& watch, const PairFollower& follower, FrameIndex now,
                          double share) const {
    const auto back = [&](Seconds by) { return now + -std::llround(by.count() * rate_.value()); };
    const auto all = watch.meeting_power(back(kFrom), back(kTo));
    const auto followed = follower.meeting_power(back(kFrom), back(kTo));
    return all && followed &&
           *all > (1.0 + share) * *followed + kJoinsOverNoise * watch.between_power();
}

}  // namespace rankwright::listening
