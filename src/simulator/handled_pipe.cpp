#include "simulator/handled_pipe.h"

#include <algorithm>
#include <cmath>

namespace rankwright::simulator {

namespace {

constexpr double kKelvin = 273.15;
constexpr double kCreepMemory_s = 40.0;  // common practice, no source
constexpr double kMostCreep_cents = 1.5;
constexpr double kMostWarmth_cents = 6.0;
constexpr double kNear_s = 1.0;         // the body stays before the mouth after the last movement
constexpr double kSteps_s = 0.3;        // and steps to and from it in that time
constexpr double kMostMistuning = 3.0;  // standard deviations

double octaves_above_middle_c(Hertz pitch) { return std::log2(pitch.value() / 261.6); }

}  // namespace

HandledPipe::HandledPipe(const organ::Pipe& pipe, Hertz home, Celsius at, Cents mistuning,
                         Random random)
    : pipe_(pipe),
      start_(transpose(home,
                       mistuning * std::clamp(random.normal(), -kMostMistuning, kMostMistuning))),
      at_(at),
      body_(pipe, start_, random) {
    const double octave = std::clamp(octaves_above_middle_c(start_), -2.0, 3.0);
    const bool reed = pipe.make.reed();
    creep_share_ = reed ? random.uniform(0.02, 0.10) : 0.0;
    // A small pipe warms and cools fast, a big one hardly; a reed's tongue hears little of it.
    warms_ = random.uniform(0.12, 0.35) * std::exp2(0.5 * octave) * (reed ? 0.15 : 1.0);
    cools_s_ = random.uniform(60.0, 120.0) * std::exp2(-0.4 * octave);
    shades_ = random.uniform(0.4, 1.5) * (reed ? 0.1 : 1.0);
}

void HandledPipe::move(Millimetres up, double now_s, double handling) {
    const double done = crept(now_s);
    crept_ += done;
    creeping_ -= done;
    const double warmth = warmth_ * std::exp(-std::max(0.0, now_s - moved_s_) / cools_s_);
    const Cents before = body_.shift(position_);
    position_ = Millimetres{
        std::clamp(position_.value() + up.value(), -body_.reach().value(), body_.reach().value())};
    const double change = (body_.shift(position_) - before).value();
    creeping_ = std::clamp(creeping_ + creep_share_ * change, -kMostCreep_cents, kMostCreep_cents);
    warmth_ = std::min(kMostWarmth_cents, warmth + handling * warms_);
    if (now_s > moved_s_ + kNear_s) arrived_s_ = now_s;
    moved_s_ = now_s;
    shade_scale_ = handling;
}

void HandledPipe::settle() {
    crept_ += creeping_;
    creeping_ = 0.0;
}

double HandledPipe::crept(double now_s) const {
    return creeping_ * (1.0 - std::exp(-std::max(0.0, now_s - moved_s_) / kCreepMemory_s));
}

Hertz HandledPipe::pitch(Celsius air, double now_s) const {
    const Cents moved = body_.shift(position_) + Cents{crept_ + crept(now_s)};
    // Dry air: c ~ sqrt(T) (ideal gas); a reed takes its share of it.
    const double warmer = (air.value() + kKelvin) / (at_.value() + kKelvin);
    return transpose(start_, moved) * std::pow(warmer, 0.5 * pipe_.make.temperature_share);
}

Cents HandledPipe::hand(double now_s) const {
    const double since = now_s - moved_s_;
    const double warmth = warmth_ * std::exp(-std::max(0.0, since) / cools_s_);
    const double coming = std::clamp((now_s - arrived_s_) / kSteps_s, 0.0, 1.0);
    const double leaving = std::clamp((since - kNear_s) / kSteps_s, 0.0, 1.0);
    return Cents{warmth - shade_scale_ * shades_ * std::min(coming, 1.0 - leaving)};
}

}  // namespace rankwright::simulator
