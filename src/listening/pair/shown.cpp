#include "listening/pair/shown.h"

#include "listening/arithmetic.h"
#include "listening/wander.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

/// No reading is given that is less sure than both.
constexpr Cents kLooseCents{3.0};
constexpr double kLoose_hz = 0.12;
/// What the mean pitch of a second means while the room still fills and the pipe finds its pitch,
/// less after longer and never better than by its own wander (simulated pipes): of the sort of
/// mean.
constexpr Cents kDefinedAfter{0.08};
constexpr Cents kDefinedBest{0.03};

}  // namespace

std::optional<BeatReading> PairShown::take(BeatReading reading, Seconds span, Hertz meets,
                                           bool moving) {
    const double cent = meets.value() / kCents;
    const double young = kDefinedAfter.value() * std::pow(std::max(0.2, span.count()), -1.6);
    const double strays = kDefinedBest.value() * wander_along_compass(reading.pipe);
    reading.beat_sd = Hertz{std::hypot(reading.beat_sd.value(), std::hypot(young, strays) * cent)};
    const double loosest = std::max(kLoose_hz, kLooseCents.value() * cent);
    if (!reading.under && reading.beat_sd.value() > loosest) return std::nullopt;
    // Not even how fast they beat.
    if (reading.under && reading.under->value() > 4.0 * loosest &&
        reading.under->value() > 1.5 * std::abs(reading.beat.value()))
        return std::nullopt;
    if (!moving && sd_ && !reading.under) {
        const Hertz moved{std::abs((reading.beat - beat_).value())};
        reading.beat_sd = std::min(reading.beat_sd, std::max(*sd_, moved));
        reading.shared_sd = std::min(reading.shared_sd, reading.beat_sd);
    }
    sd_.reset();
    if (!moving && !reading.under) sd_ = reading.beat_sd;
    beat_ = reading.beat;
    return reading;
}

}  // namespace rankwright::listening
