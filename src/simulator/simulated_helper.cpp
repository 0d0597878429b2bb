#include "simulator/simulated_helper.h"

#include <algorithm>
#include <utility>

namespace rankwright::simulator {

namespace {

constexpr Seconds kBetweenKeys{0.25};    // from lifting one key to pressing the next
constexpr Seconds kNoticesMistake{2.5};  // common practice, no source

}  // namespace

SimulatedHelper::SimulatedHelper(const Parameters& parameters)
    : parameters_(parameters), random_(parameters.seed, "helper") {}

void SimulatedHelper::draw(std::string_view division, std::string_view stop, bool on) {
    to_draw_.push_back({std::string(division), std::string(stop), on});
}

Seconds SimulatedHelper::give_or_take(Seconds about) {
    return about * std::clamp(1.0 + random_.normal() / 3.0, 0.4, 2.5);
}

void SimulatedHelper::turn_to(std::optional<Key> key) {
    called_ = std::move(key);
    lifts_at_ = now_ + give_or_take(parameters_.reaction);
    presses_at_.reset();
    notices_at_.reset();
    corrects_ = false;
}

void SimulatedHelper::call(std::string_view division, int key) {
    turn_to(Key{std::string(division), key});
}

void SimulatedHelper::rest() { turn_to(std::nullopt); }

void SimulatedHelper::lift(Chamber& chamber) {
    if (held_) chamber.key_up(held_->division, held_->key);
    held_.reset();
}

void SimulatedHelper::press(Chamber& chamber, Seconds now) {
    Key key = *called_;
    // A mistake is put right rightly: only a fresh call can go wrong.
    const bool mistaken = !corrects_ && random_.uniform() < parameters_.mistakes;
    corrects_ = mistaken;
    if (mistaken) {
        key.key = key.key > 1 && random_.uniform() < 0.5 ? key.key - 1 : key.key + 1;
        notices_at_ = now + give_or_take(kNoticesMistake);
    }
    chamber.key_down(key.division, key.key);
    held_ = std::move(key);
}

void SimulatedHelper::advance(Chamber& chamber, Seconds now) {
    now_ = now;
    for (const Draw& stop : std::exchange(to_draw_, {})) {
        chamber.draw_stop(stop.division, stop.stop, stop.on);
    }
    if (notices_at_ && now >= *notices_at_) {
        notices_at_.reset();
        lifts_at_ = now;
    }
    if (lifts_at_ && now >= *lifts_at_) {
        lifts_at_.reset();
        lift(chamber);
        if (called_) presses_at_ = now + give_or_take(kBetweenKeys);
    }
    if (presses_at_ && now >= *presses_at_) {
        presses_at_.reset();
        press(chamber, now);
    }
}

}  // namespace rankwright::simulator
