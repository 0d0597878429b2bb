#include "listening/pair/alone.h"

#include "listening/arithmetic.h"
#include "listening/wander.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

/// So near to where the reference was it is believed at once, so near after it has stood alone for
/// a while.
constexpr Cents kNoSurprise{1.0};
constexpr Seconds kStoodAlone{1.2};
constexpr Cents kMayHaveMoved{8.0};
/// How far a pipe's mean pitch strays between one span and the next, in the middle compass; more
/// in the bass.
constexpr Cents kReferenceStrays{0.15};
/// And how far it may be from what it was some seconds ago (simulated pipes 0.30 to 0.43 cent, root
/// mean square; recorded ones 0.3 above 130 Hz).
constexpr Cents kStraysInSeconds{0.35};

}  // namespace

bool PairAlone::may_be_reference(Hertz heard, Hertz expected, Hertz doubt, Seconds stood) {
    const double apart = std::abs(interval(expected, heard).value());
    const double cents = interval(expected, expected + doubt).value();
    if (apart < std::max(kNoSurprise.value(), cents)) return true;
    return stood > kStoodAlone && apart < std::max(kMayHaveMoved.value(), 4.0 * cents);
}

void PairAlone::forget_since(FrameIndex from) {
    if (latest_ && latest_->from >= from) latest_.reset();
    if (heard_ && heard_->from >= from) heard_.reset();
}

Hertz PairAlone::doubt() const {
    const double strays = kReferenceStrays.value() * wander_along_compass(heard_->pitch);
    return Hertz{std::hypot(heard_->sd.value(), strays / kCents * heard_->pitch.value())};
}

BeatReading PairAlone::beat_with(Hertz pipe, int m, int n) const {
    BeatReading reading;
    reading.reference = heard_->pitch;
    reading.pipe = pipe;
    reading.beat = pipe * n - heard_->pitch * m;
    reading.cents = interval(heard_->pitch * m, pipe * n);
    const double strays = kStraysInSeconds.value() *
                          std::max(1.0, wander_along_compass(heard_->pitch)) / kCents *
                          heard_->pitch.value();
    reading.beat_sd = Hertz{m * std::hypot(heard_->sd.value(), strays)};
    // Half of the variance is what the reference did while it was alone, half what it does now.
    reading.shared_sd = Hertz{m * std::hypot(heard_->sd.value(), strays * std::sqrt(0.5))};
    const Hertz most = Hertz{std::abs(reading.beat.value())} + reading.beat_sd * 2.0;
    if (std::abs(reading.beat.value()) < 2.0 * reading.beat_sd.value()) reading.under = most;
    return reading;
}

}  // namespace rankwright::listening
