#include "listening/pair/pace.h"

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

/// By so much, in the middle compass, no pipe wanders in a few seconds: it was moved.
constexpr Cents kMoved{3.0};

/// What is seen to move goes on, in the same sense, unless its parts differ by less than this share
/// of that.
constexpr double kGoesOn = 0.35;
/// By this share of it they usually do at rest.
constexpr double kUsual = 0.5;

/// What is read is so long after the middle of kNow: on to its end, a movement that stops would be
/// overshot by more.
constexpr Seconds kAhead{0.1};

/// So long ago the last answer's newest part was the newest sound: half of it, and until the next.
constexpr Seconds kBehind{0.5 * PairPace::kNow.count() + 0.15};

/// A part that turns so far says how fast it beats, even where the whole hardly does, as when a
/// pipe is brought through the pure interval.
constexpr double kTurns = 0.5;

/// Two at rest leave up to four times what they left at best, in a hundredth of the answers more
/// (simulated pipes); and so small a share of them is no pipe.
constexpr double kLeftMore = 4.0;
constexpr double kLeftLeast = 0.005;
constexpr double kHardly = 1.0;  // turns, in the span
/// Shorter spans are explained by their few terms.
constexpr Seconds kTellsLeft{0.5};

bool turns(const PairFollower::Part& part, Seconds over) {
    return std::abs(part.beat) * over.count() > kTurns && std::abs(part.beat) > kOff * part.sd;
}

bool differ(const PairFollower::Part& one, const PairFollower::Part& other, double least) {
    return std::abs(one.beat - other.beat) > std::max(kOff * std::hypot(one.sd, other.sd), least);
}

}  // namespace

void PairPace::clear() {
    paces_.clear();
    now_.reset();
    going_ = astray_ = 0.0;
    outgrown_ = came_near_ = false;
    left_least_.reset();
    lost_ = 0;
}

void PairPace::judge(PairFollower& follower, const Span& span) {
    const double share = std::min(1.0, kEnd / span.heard);
    const auto late = follower.part(0.5 - share, 0.5);
    const Seconds end = duration(span.end - FrameIndex{}, span.rate);
    add(end - 0.5 * share * span.heard, late);
    read_end(follower, span, late);
    const double least = most_wander(follower, span);
    const auto early = follower.part(-0.5, -0.5 + share);
    const bool under = follower.reading().under.has_value(), hardly = follower.weak() || under;
    // How two that hardly beat share the sound is told by all of it since before they did.
    const bool known =
        !follower.hears_joining() || !hardly || turns(late, kEnd) || turns(early, kEnd);
    // What was before, by the mean of all.
    const double whole = follower.reading().beat.value();
    const PairFollower::Part before{(whole - share * late.beat) / std::max(1.0 - share, 0.1),
                                    early.sd};
    outgrown_ = known && span.heard >= 2.0 * kEnd &&
                (differ(late, early, least) || differ(late, before, least));
    const auto far = std::max_element(
        paces_.begin(), paces_.end(),
        [](const Pace& a, const Pace& b) { return std::abs(a.part.beat) < std::abs(b.part.beat); });
    // Slower ones, in the bass, are read too loosely from so short a part.
    came_near_ =
        under && turns(far->part, kEnd) && differ(far->part, late, kMoved / kOffLeast * least);
    judge_left(follower, span);
}

void PairPace::judge_left(const PairFollower& follower, const Span& span) {
    if (span.heard < kTellsLeft) return;
    const auto heard = follower.foretold();
    const double left = heard.noise / (heard.power[0] + heard.power[1]);
    // Those that beat show by that where they are.
    const bool hardly = std::abs(follower.reading().beat.value()) * span.heard.count() < kHardly;
    const bool more =
        hardly && left_least_ && left > std::max(kLeftMore * *left_least_, kLeftLeast);
    lost_ = more ? lost_ + 1 : 0;
    left_least_ = std::min(left, left_least_.value_or(left));
}

/// `late`: over the newest kEnd.
void PairPace::read_end(PairFollower& follower, const Span& span, const PairFollower::Part& late) {
    now_.reset();
    astray_ = 0.0;
    if (follower.weak() || follower.reading().under) return;
    const auto first = follower.part(-0.5, 0.0);
    const auto second = follower.part(0.0, 0.5);
    const double change = second.beat - first.beat;
    const double wander = most_wander(follower, span), usual = kUsual * wander;
    const double least = wander * (change * going_ > 0.0 ? kGoesOn : 1.0);
    going_ = 0.0;
    if (!differ(first, second, least)) {
        if (span.moved && std::abs(change) > usual)
            astray_ = std::sqrt(change * change - usual * usual);
        return;
    }
    going_ = change;
    const Seconds half = 0.5 * span.heard;
    now_ = follower.reading();
    if (span.heard < 2.0 * kNow) {
        now_->beat_sd = Hertz{std::hypot(now_->beat_sd.value(), change)};
        return;
    }
    auto end = follower.part(0.5 - kNow / span.heard, 0.5);
    // No faster than the last of it goes: what was moved may stand by now.
    const double latest = (end.beat - late.beat) / (0.5 * (kEnd - kNow)).count();
    const double mean = change / half.count();
    if (latest * mean > 0.0)
        end.beat += kAhead.count() * (std::abs(latest) < std::abs(mean) ? latest : mean);
    // The pitch that stands at a pure interval where they meet moves with the beat.
    now_->pipe = now_->pipe * (1.0 + (end.beat - now_->beat.value()) / span.meets.value());
    now_->beat = Hertz{end.beat};
    now_->beat_sd = Hertz{std::hypot(end.sd, change * (kBehind / half))};
    now_->cents = Cents{kCents * std::log1p(end.beat / span.meets.value())};
}

double PairPace::most_wander(const PairFollower& follower, const Span& span) {
    return kOffLeast.value() * wander_along_compass(follower.reading().pipe) * span.meets.value() /
           kCents;
}

void PairPace::add(Seconds at, const PairFollower::Part& part) {
    if (paces_.size() == kMost) paces_.erase(paces_.begin());
    paces_.push_back({at.count(), part});
}

std::optional<double> PairPace::drift() const {
    if (paces_.empty()) return std::nullopt;
    const double newest = paces_.back().at_s;
    double count = 0.0, at = 0.0, beat = 0.0;
    for (const Pace& p : paces_)
        if (newest - p.at_s < kOver_s) {
            count += 1.0;
            at += p.at_s;
            beat += p.part.beat;
        }
    double up = 0.0, down = 0.0;
    for (const Pace& p : paces_)
        if (newest - p.at_s < kOver_s) {
            up += (p.at_s - at / count) * (p.part.beat - beat / count);
            down += (p.at_s - at / count) * (p.at_s - at / count);
        }
    if (newest - paces_.front().at_s < kSeen_s || down <= 0.0) return std::nullopt;
    return up / down;
}

}  // namespace rankwright::listening
