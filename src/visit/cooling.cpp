#include "visit/cooling.h"

#include <algorithm>
#include <cmath>

namespace rankwright::visit {

namespace {

// Common practice, no source: how alike touches are, on one pipe and on others of its size.
constexpr double kOwnDoubt = 0.3;
constexpr double kOthersDoubt = 0.5;
// How the hand is laid on changes in the course of the work.
constexpr int kOwnLatest = 2;
constexpr int kOthersLatest = 12;
constexpr Cents kLikeSize{700.0};     // a fifth
constexpr double kMostASecond = 1.0;  // cents: no touch does more than some (from memory)

}  // namespace

void Cooling::fell(const PipeId& pipe, Hertz pitch, Seconds hand, Cents by) {
    if (by >= kMost) return;
    const double fell = std::clamp(by.value(), 0.0, kMostASecond * hand.count());
    falls_.push_back({pipe, pitch, hand.count(), fell});
}

Cooling::Warmth Cooling::after(const PipeId& pipe, Hertz pitch, Seconds hand) const {
    const auto told_by = [&](double doubt, int latest, auto&& counts) -> std::optional<Warmth> {
        double cents = 0.0, hand_s = 0.0, most = 0.0;
        for (auto one = falls_.rbegin(); one != falls_.rend() && latest > 0; ++one) {
            if (!counts(*one)) continue;
            cents += one->cents;
            hand_s += one->hand_s;
            most = std::max(most, one->cents);
            --latest;
        }
        if (hand_s <= 0.0) return std::nullopt;
        // Not every touch is heard: no more than was seen.
        const Cents by{std::min(most, cents / hand_s * hand.count())};
        return Warmth{by, by * doubt};
    };
    const auto of_like_size = [&](const Fall& one) {
        return std::abs(interval(one.pitch, pitch).value()) <= kLikeSize.value();
    };
    if (const auto own =
            told_by(kOwnDoubt, kOwnLatest, [&](const Fall& one) { return one.pipe == pipe; }))
        return *own;
    const auto of_rank = told_by(kOthersDoubt, kOthersLatest, [&](const Fall& one) {
        return one.pipe.division == pipe.division && one.pipe.stop == pipe.stop &&
               one.pipe.row == pipe.row && of_like_size(one);
    });
    return of_rank.value_or(told_by(kOthersDoubt, kOthersLatest, of_like_size).value_or(Warmth{}));
}

}  // namespace rankwright::visit
