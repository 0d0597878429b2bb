#include "listening/pair/joining.h"

#include "listening/pair/times.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace rankwright::listening {

namespace {

/// What seems to join as the room fills mustn't put off for ever what beats slowly.
constexpr int kMostAgain = 2;
constexpr std::array<Seconds, 4> kLooksForJoined{Seconds{0.25}, Seconds{0.5}, Seconds{0.9},
                                                 Seconds{1.6}};

/// Another had begun before it changed what was heard by enough to be noticed.
constexpr Seconds kNoticedAfter{0.1};
/// So much of the first alone tells its partials' levels, and more costs more.
constexpr Seconds kLeastBefore{0.4};
constexpr Seconds kMostBefore{1.0};

}  // namespace

void PairJoining::begin(FrameIndex at, bool own) {
    joined_ = at;
    own_ = own;
    open_ = false;
    looks_ = 0;
}

void PairJoining::note(bool odd, bool own, FrameIndex now) {
    if (joined_) {
        // What seemed to join was the room; the pipe itself comes now.
        if (!own_ && own) return begin(now, true);
        if (!open_) return;
    }
    if (!odd && (!own || (joined_ && own_))) odd_ = now;
    if (duration(now - odd_, rate_) <= kChangeHolds) return;
    again_ = joined_ ? again_ + 1 : 0;
    begin(odd_, own);
}

std::optional<FrameIndex> PairJoining::due(double spacing_hz, FrameIndex now) const {
    const FrameIndex spoken = *joined_ + std::llround(speech(spacing_hz).count() * rate_.value());
    const Seconds span = kLooksForJoined[looks_];
    const Seconds least =
        at_least(span, kFirstLookPeriods * span / kLooksForJoined.front(), spacing_hz);
    if (duration(now - spoken, rate_) < least) return std::nullopt;
    return spoken;
}

std::optional<HeardBefore> PairJoining::before(FrameIndex began, std::span<const HiddenSpan> hidden,
                                               FrameIndex spoken) const {
    const auto earlier = [&](FrameIndex at, Seconds by) {
        return at + -std::llround(by.count() * rate_.value());
    };
    FrameIndex to = earlier(*joined_, kNoticedAfter);
    // The other's own onset may pass for a disturbance.
    for (const HiddenSpan& h : hidden)
        if (h.to >= to) to = std::min(to, h.from);
    FrameIndex from = std::max(began, earlier(to, kMostBefore));
    for (const HiddenSpan& h : hidden)
        if (h.to < to) from = std::max(from, h.to);
    if (duration(to - from, rate_) < kLeastBefore) return std::nullopt;
    return HeardBefore{from, to, spoken};
}

bool PairJoining::looked(FrameIndex now, bool filling) {
    odd_ = now;
    open_ = filling && again_ < kMostAgain;
    return ++looks_ < kLooksForJoined.size();
}

}  // namespace rankwright::listening
