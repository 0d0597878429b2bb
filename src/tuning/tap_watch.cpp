#include "tuning/tap_watch.h"

#include <cmath>

namespace rankwright::tuning {

namespace {

// A body before the mouth flattens a pipe while the hand is at it (from memory), and goes within a
// second: only what stands longer is where the tap put the pipe.
constexpr Seconds kStands{1.6};
constexpr double kSureInSd = 3.0;
constexpr Cents kLeast{0.3};
// Later than this the air itself may have changed the pitch.
constexpr Seconds kStillTheSame{30.0};
// Further than a semitone no tap goes: another pipe sounds.
constexpr Cents kAnotherPipe{100.0};

}  // namespace

void TapWatch::turn_to(const organ::Pipe& pipe) {
    const bool same_rank = pipe_ && pipe_->id.division == pipe.id.division &&
                           pipe_->id.stop == pipe.id.stop && pipe_->make.device == pipe.make.device;
    if (!same_rank) moves_.forget();
    pipe_ = pipe;
    begin_anew();
}

void TapWatch::begin_anew() { stood_.reset(); }

void TapWatch::hear(const SteadyMean& standing, Seconds at, Hertz pitch, Cents needed,
                    bool drifting) {
    if (drifting || standing.span() < kStands) return;
    const Stand now{standing.stands(), at, pitch, *standing.uncertainty(), needed};
    if (stood_ && stood_->number != now.number) learn(*stood_, now);
    stood_ = now;
}

void TapWatch::learn(const Stand& before, const Stand& after) {
    if (after.at - before.at > kStillTheSame) return;
    const Cents change = interval(before.pitch, after.pitch);
    const double sd = std::hypot(before.uncertainty.value(), after.uncertainty.value());
    const double size = std::abs(change.value());
    if (size < kLeast.value() || size < kSureInSd * sd || size > kAnotherPipe.value()) return;
    if (change.value() * before.needed.value() > 0.0) moves_.moved(before.pitch, change);
}

std::string TapWatch::amount(Hertz now, Cents needed) const {
    return needed == Cents{0.0} ? std::string() : moves_.amount(now, needed);
}

}  // namespace rankwright::tuning
