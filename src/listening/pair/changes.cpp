#include "listening/pair/changes.h"

#include "listening/stream_steps.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

constexpr Seconds kEndHolds{0.1};
constexpr Seconds kMovedFor{0.06};
constexpr Seconds kUsual{0.5};
// Power left over, in shares of what is foretold.
constexpr double kEnded = 0.12;
constexpr double kFalls = 0.35;  // of what a tone usually has
constexpr double kFallen = 0.08;
constexpr double kGone = 0.06;
constexpr double kChanged = 0.25;
constexpr double kChangedOfAll = 0.03;
constexpr double kOverNoise = 8.0;
constexpr double kOverStray = 8.0;
/// How much these pipes stray, against usual, is learned within this bound.
constexpr Seconds kStrays{3.0};
constexpr double kLeastStray = 0.1;
constexpr double kMostStray = 4.0;
constexpr double kMostAllowed = 0.8;  // of all: what left its path has to show
constexpr double kGoneMost = 0.3;

}  // namespace

void PairChanges::restart(FrameIndex now) {
    changing_ = ending_ = fell_ = now;
    falling_ = false;
    usual_[0] = usual_[1] = 0.0;
}

void PairChanges::look_again(const PairFollower::Foretold& heard, bool moving) {
    const double before = usual_[0] + usual_[1];
    const double scale = moving && before > 0.0 ? (heard.usual[0] + heard.usual[1]) / before : 0.0;
    for (double& power : usual_)
        power *= scale;
}

PairChanges::What PairChanges::judge(const PairFollower& follower, bool shared, FrameIndex now) {
    const auto heard = follower.foretold();
    const bool two = follower.two();
    if (const What end = judge_end(heard, two, shared, now); end != What::nothing) return end;
    if (!falling_) fell_ = now;
    if (!two) return What::nothing;
    const double unforetold = learn_stray(heard);
    const double all = heard.power[0] + heard.power[1];
    const double least = std::max(kChanged * heard.power[1], kChangedOfAll * all);
    if (falling_ || heard.left <= std::max(unforetold, least)) changing_ = now;
    if (since(changing_, now) < kMovedFor) return What::nothing;
    for (const int i : {0, 1})
        if (!shared && heard.without[i] <= kGone * heard.power[i] +
                                               std::min(unforetold, kGoneMost * heard.power[i]))
            return i == 0 ? What::reference_gone : What::pipe_gone;
    changing_ = now;
    return What::moved;
}

/// What noise and wander leave. A pipe that wanders more than others is allowed more; what is over
/// that teaches no more than it, so that a movement is hardly learned.
double PairChanges::learn_stray(const PairFollower::Foretold& heard) {
    const double all = heard.power[0] + heard.power[1];
    const double noise = kOverNoise * heard.noise;
    const double allowed =
        noise + std::min(kOverStray * stray_ * heard.strayed, kMostAllowed * all);
    if (!falling_ && heard.strayed > 0.0) {
        const double memory = 1.0 / (kSteps_hz * kStrays.count());
        const double left = std::max(0.0, std::min(heard.left, allowed) - heard.noise);
        stray_ += memory * (left / heard.strayed - stray_);
        stray_ = std::clamp(stray_, kLeastStray, kMostStray);
    }
    return allowed;
}

PairChanges::What PairChanges::judge_end(const PairFollower::Foretold& heard, bool two, bool shared,
                                         FrameIndex now) {
    const double memory = 1.0 / (kSteps_hz * kUsual.count());
    const double power[2] = {two ? heard.power[0] : heard.heard, heard.power[1]};
    bool fallen[2] = {false, !two};
    falling_ = false;
    for (const int i : {0, 1}) {
        if (usual_[i] <= 0.0) usual_[i] = heard.usual[i];
        if (i == 1 && !two) break;
        if (two && shared) continue;
        const bool falls = power[i] < kFalls * usual_[i];
        fallen[i] = power[i] < kFallen * usual_[i];
        falling_ = falling_ || falls;
        if (!falls) usual_[i] += memory * (power[i] - usual_[i]);
    }
    const bool silent =
        heard.heard < kEnded * heard.foretold && heard.foretold > kFallen * usual_[0];
    if (!silent && !fallen[0] && !(two && fallen[1])) {
        ending_ = now;
        return What::nothing;
    }
    falling_ = true;
    if (since(ending_, now) < kEndHolds) return What::nothing;
    if (silent || (fallen[0] && fallen[1])) return What::all_gone;
    return fallen[0] ? What::reference_gone : What::pipe_gone;
}

}  // namespace rankwright::listening
