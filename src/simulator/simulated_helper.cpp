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

void SimulatedHelper::hold_back(std::string_view division, std::string_view stop, Seconds alone) {
    std::erase_if(held_back_,
                  [&](const HeldBack& h) { return h.division == division && h.stop == stop; });
    const bool waits = alone > Seconds{0.0};
    draw(division, stop, !waits);
    if (waits) held_back_.push_back({std::string(division), std::string(stop), alone, {}});
}

std::optional<SimulatedHelper::Key> SimulatedHelper::holds() const {
    if (held_.empty()) return std::nullopt;
    return held_.front();
}

Seconds SimulatedHelper::give_or_take(Seconds about) {
    return about * std::clamp(1.0 + random_.normal() / 3.0, 0.4, 2.5);
}

void SimulatedHelper::turn_to(std::vector<Key> keys) {
    to_play_.clear();
    holds_for_ = Seconds{0.0};
    called_ = std::move(keys);
    lifts_at_ = now_ + give_or_take(parameters_.reaction);
    presses_at_.reset();
    notices_at_.reset();
    corrects_ = false;
}

void SimulatedHelper::call(std::string_view division, int key) {
    turn_to({Key{std::string(division), key}});
}

void SimulatedHelper::call(const Key& one, const Key& other) { turn_to({one, other}); }

void SimulatedHelper::play(std::vector<Key> keys, Seconds hold) {
    if (keys.empty()) return rest();
    turn_to({keys.front()});
    to_play_.assign(keys.rbegin(), keys.rend() - 1);
    holds_for_ = hold;
}

// Who plays a rank through keeps an even pace.
void SimulatedHelper::play_on(Seconds now) {
    constexpr double kUneven = 0.1;
    if (holds_for_ <= Seconds{0.0}) return;
    lifts_at_ = now + holds_for_ * std::clamp(1.0 + kUneven * random_.normal(), 0.7, 1.4);
    called_.clear();
    if (to_play_.empty()) {
        holds_for_ = Seconds{0.0};
        return;
    }
    called_ = {to_play_.back()};
    to_play_.pop_back();
}

void SimulatedHelper::rest() { turn_to({}); }

void SimulatedHelper::lift(Chamber& chamber) {
    for (const Key& key : held_)
        chamber.key_up(key.division, key.key);
    held_.clear();
}

void SimulatedHelper::press(Chamber& chamber, Seconds now) {
    held_ = called_;
    // A mistake is put right rightly: only a fresh call can go wrong.
    const bool mistaken = !corrects_ && random_.uniform() < parameters_.mistakes;
    corrects_ = mistaken;
    if (mistaken) {
        int& key = held_.back().key;
        key = key > 1 && random_.uniform() < 0.5 ? key - 1 : key + 1;
        notices_at_ = now + give_or_take(kNoticesMistake);
    }
    for (HeldBack& stop : held_back_) {
        chamber.draw_stop(stop.division, stop.stop, false);
        stop.drawn_at = now + stop.alone;
    }
    for (const Key& key : held_)
        chamber.key_down(key.division, key.key);
    play_on(now);
}

void SimulatedHelper::set_stops(Chamber& chamber, Seconds now) {
    for (const Draw& stop : std::exchange(to_draw_, {})) {
        chamber.draw_stop(stop.division, stop.stop, stop.on);
    }
    for (HeldBack& stop : held_back_) {
        if (held_.empty() || !stop.drawn_at || now < *stop.drawn_at) continue;
        chamber.draw_stop(stop.division, stop.stop, true);
        stop.drawn_at.reset();
    }
}

void SimulatedHelper::advance(Chamber& chamber, Seconds now) {
    now_ = now;
    set_stops(chamber, now);
    if (notices_at_ && now >= *notices_at_) {
        notices_at_.reset();
        lifts_at_ = now;
    }
    if (lifts_at_ && now >= *lifts_at_) {
        lifts_at_.reset();
        lift(chamber);
        if (!called_.empty()) presses_at_ = now + give_or_take(kBetweenKeys);
    }
    if (presses_at_ && now >= *presses_at_) {
        presses_at_.reset();
        press(chamber, now);
    }
}

}  // namespace rankwright::simulator
