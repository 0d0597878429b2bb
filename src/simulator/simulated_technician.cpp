#include "simulator/simulated_technician.h"

#include <algorithm>
#include <cmath>

namespace rankwright::simulator {

namespace {

// Common practice, no source: a light tap, and the longest movement at once.
constexpr double kTap_mm = 0.3;
constexpr double kWireTap_mm = 0.04;
constexpr double kFar_mm = 25.0;
constexpr double kWireFar_mm = 0.8;
constexpr Seconds kHandsOn{0.4};    // the movement itself
constexpr Seconds kStepsBack{1.2};  // then away from the mouth, to hear the pipe undisturbed

bool by_wire(organ::TuningDevice device) { return device == organ::TuningDevice::reed_wire; }

}  // namespace

SimulatedTechnician::SimulatedTechnician(const Parameters& parameters)
    : parameters_(parameters), random_(parameters.seed, "technician") {}

Seconds SimulatedTechnician::human(Seconds about) {
    return about * std::clamp(1.0 + 0.25 * random_.normal(), 0.5, 2.0);
}

void SimulatedTechnician::turn_to(const std::string& pipe, organ::TuningDevice device,
                                  Seconds now) {
    if (cents_per_mm_) remembered_[pipe_] = *cents_per_mm_;
    pipe_ = pipe;
    device_ = device;
    ready_ = now + human(parameters_.reaction);
    since_ = now;
    seen_ = false;
    cents_before_.reset();
    cents_per_mm_.reset();
    if (const auto known = remembered_.find(pipe); known != remembered_.end())
        cents_per_mm_ = known->second;
    moves_ = 0;
}

Deed SimulatedTechnician::call_next(Seconds now) {
    ready_ = now + human(parameters_.reaction);
    since_ = now;
    seen_ = false;
    return {Deed::Kind::next, Millimetres{0.0}};
}

// What the last movement did tells what a millimetre does here, unless the figure hardly changed.
void SimulatedTechnician::learn(double cents) {
    if (!cents_before_ || moved_mm_ == 0.0) return;
    const double change = std::abs(cents - *cents_before_);
    cents_before_.reset();
    const double found = std::max(change, 0.1) / std::abs(moved_mm_);
    cents_per_mm_ = cents_per_mm_ ? std::sqrt(*cents_per_mm_ * found) : found;
}

double SimulatedTechnician::wanted_mm(const Screen& screen) const {
    const double tap = by_wire(device_) ? kWireTap_mm : kTap_mm;
    const double far = by_wire(device_) ? kWireFar_mm : kFar_mm;
    double amount = tap;
    if (cents_per_mm_) {
        amount = std::abs(screen.cents) / *cents_per_mm_;
    } else if (screen.at_least && screen.at_most) {
        amount = 0.5 * (screen.at_least->value() + screen.at_most->value());
    }
    // Who has felt what this pipe does is careful: never more than twice the last movement.
    if (moves_ > 0) amount = std::min(amount, 2.0 * std::abs(moved_mm_));
    return std::min(amount, far);
}

Deed SimulatedTechnician::move(const Screen& screen, Seconds now) {
    double sign = 0.0;
    if (screen.way == organ::Way::up || screen.way == organ::Way::out) sign = 1.0;
    if (screen.way == organ::Way::down || screen.way == organ::Way::in) sign = -1.0;
    if (sign == 0.0) return {};
    const double finest = by_wire(device_) ? 0.002 : 0.01;  // no hand is surer
    const double amount = wanted_mm(screen) * (1.0 + parameters_.clumsiness * random_.normal()) +
                          finest * random_.normal();
    moved_mm_ = sign * std::max(amount, finest);
    cents_before_ = screen.cents;
    ++moves_;
    ready_ = now + human(kHandsOn + kStepsBack);
    since_ = ready_;
    seen_ = false;
    return {Deed::Kind::move, Millimetres{moved_mm_}};
}

Deed SimulatedTechnician::look(const Screen& screen, Seconds now) {
    if (now < ready_) return {};
    const bool impatient = now - since_ > parameters_.patience;
    const bool worth_acting = screen.kept || screen.settled || impatient;
    if (!worth_acting) {
        seen_ = false;
        return {};
    }
    if (!seen_) {  // seen now, acted on after the reaction time, on what the screen says then
        seen_ = true;
        ready_ = now + human(parameters_.reaction);
        return {};
    }
    if (screen.kept) return call_next(now);
    if (!screen.shows_figure || moves_ >= parameters_.most_moves) {
        return impatient || screen.shows_figure ? call_next(now) : Deed{};
    }
    const bool near = std::abs(screen.cents) <= parameters_.good_enough.value();
    if (near || screen.way == organ::Way::none) return impatient ? call_next(now) : Deed{};
    learn(screen.cents);
    return move(screen, now);
}

}  // namespace rankwright::simulator
