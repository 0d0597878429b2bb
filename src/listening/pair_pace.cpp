#include "listening/pair_pace.h"

#include "listening/arithmetic.h"
#include "listening/wander.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

constexpr double kOver_s = 2.2;
constexpr double kSeen_s = 0.9;
/// Two parts of a span differ: by so many standard uncertainties,
constexpr double kOff = 3.0;
/// and by more than wander usually does, in the middle compass.
constexpr Cents kOffLeast{0.3};

/// So long ago the last answer's newest part was the newest sound: half of it, and until the next.
constexpr Seconds kBehind{0.5 * PairPace::kNow.count() + 0.15};

bool differ(const PairFollower::Part& one, const PairFollower::Part& other, double least) {
    return std::abs(one.beat - other.beat) > std::max(kOff * std::hypot(one.sd, other.sd), least);
}

}  // namespace

void PairPace::clear() {
    paces_.clear();
    now_.reset();
    outgrown_ = false;
}

void PairPace::judge(PairFollower& follower, const Span& span) {
    const double share = std::min(1.0, kEnd / span.heard);
    const auto late = follower.part(0.5 - share, 0.5);
    const Seconds end = duration(span.end - FrameIndex{}, span.rate);
    add(end - 0.5 * share * span.heard, late.beat);
    const double least = kOffLeast.value() * wander_along_compass(follower.reading().pipe) *
                         span.meets.value() / kCents;
    read_end(follower, span, least);
    // How two that hardly beat share the sound is told by all of it since before they did.
    const bool hardly = follower.weak() || follower.reading().under;
    const bool known = !follower.hears_joining() || !hardly;
    outgrown_ =
        known && span.heard >= 2.0 * kEnd && differ(late, follower.part(-0.5, -0.5 + share), least);
}

void PairPace::read_end(PairFollower& follower, const Span& span, double least) {
    now_.reset();
    if (span.heard < 2.0 * kNow || follower.weak() || follower.reading().under) return;
    const auto first = follower.part(-0.5, 0.0);
    const auto second = follower.part(0.0, 0.5);
    if (!differ(first, second, least)) return;
    const double share = kNow / span.heard;
    const auto end = follower.part(0.5 - share, 0.5);
    now_ = follower.reading();
    // The pitch that stands at a pure interval where they meet moves with the beat.
    const Hertz change{end.beat - now_->beat.value()};
    now_->pipe = now_->pipe * (1.0 + change / span.meets);
    now_->beat = Hertz{end.beat};
    const double pace = (second.beat - first.beat) / (0.5 * span.heard.count());
    now_->beat_sd = Hertz{std::hypot(end.sd, pace * kBehind.count())};
    now_->cents = Cents{kCents * std::log1p(end.beat / span.meets.value())};
}

void PairPace::add(Seconds at, double beat_hz) {
    if (paces_.size() == kMost) paces_.erase(paces_.begin());
    paces_.push_back({at.count(), beat_hz});
}

std::optional<double> PairPace::drift() const {
    if (paces_.empty()) return std::nullopt;
    const double newest = paces_.back().at_s;
    double count = 0.0, at = 0.0, beat = 0.0;
    for (const Pace& p : paces_)
        if (newest - p.at_s < kOver_s) {
            count += 1.0;
            at += p.at_s;
            beat += p.beat;
        }
    double up = 0.0, down = 0.0;
    for (const Pace& p : paces_)
        if (newest - p.at_s < kOver_s) {
            up += (p.at_s - at / count) * (p.beat - beat / count);
            down += (p.at_s - at / count) * (p.at_s - at / count);
        }
    if (newest - paces_.front().at_s < kSeen_s || down <= 0.0) return std::nullopt;
    return up / down;
}

}  // namespace rankwright::listening
