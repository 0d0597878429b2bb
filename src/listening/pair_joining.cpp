#include "listening/pair_joining.h"

#include "listening/pair_times.h"

#include <array>
#include <cmath>

namespace rankwright::listening {

namespace {

constexpr std::array<Seconds, 4> kLooksForJoined{Seconds{0.25}, Seconds{0.5}, Seconds{0.9},
                                                 Seconds{1.6}};

}  // namespace

void PairJoining::begin(FrameIndex at, bool own) {
    joined_ = at;
    own_ = own;
    looks_ = 0;
}

void PairJoining::note(bool odd, bool own, FrameIndex now) {
    if (joined_) {
        // What seemed to join was the room; the pipe itself comes now.
        if (!own_ && own) begin(now, true);
        return;
    }
    if (!odd && !own) odd_ = now;
    if (duration(now - odd_, rate_) > kChangeHolds) begin(odd_, own);
}

std::optional<FrameIndex> PairJoining::due(double spacing_hz, FrameIndex now) const {
    const FrameIndex spoken = *joined_ + std::llround(speech(spacing_hz).count() * rate_.value());
    const Seconds span = kLooksForJoined[looks_];
    const Seconds least =
        at_least(span, kFirstLookPeriods * span / kLooksForJoined.front(), spacing_hz);
    if (duration(now - spoken, rate_) < least) return std::nullopt;
    return spoken;
}

bool PairJoining::looked() { return ++looks_ < kLooksForJoined.size(); }

}  // namespace rankwright::listening
