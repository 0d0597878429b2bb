#include "tuning/slow_beat.h"

#include <algorithm>
#include <cmath>

namespace rankwright::tuning {

namespace {
constexpr double kApart_s = 0.2;  // nearer looks share nearly all of their sound
constexpr double kLeast_s = 1.0;
}  // namespace

void SlowBeat::restart() {
    if (looks_.count != 0) before_ = looks_;
    looks_ = {};
}

void SlowBeat::resume() {
    if (before_.count == 0) return;
    before_.last_s = looks_.last_s;
    looks_ = before_;
    before_ = {};
}

void SlowBeat::add(Seconds at, const listening::BeatReading& look, Seconds heard) {
    const double at_s = at.count();
    if (looks_.count == 0) looks_.since_s = at_s - heard.count();
    if (looks_.count != 0 && at_s - looks_.last_s < kApart_s) return;
    looks_.last_s = at_s;
    const std::size_t place = looks_.count++ % Looks::kMost;
    looks_.turns[place] = look.under->value() * heard.count();
    looks_.sizes[place] = std::abs(look.beat.value()) + 2.0 * look.beat_sd.value();
}

// How well the higher meetings are heard changes from look to look: the middle one counts.
std::optional<Hertz> SlowBeat::under() const {
    const double all_s = looks_.last_s - looks_.since_s;
    if (looks_.count == 0 || all_s < kLeast_s) return std::nullopt;
    const auto middle = [count = std::min(looks_.count, Looks::kMost)](auto values) {
        const auto at = values.begin() + static_cast<long>(count / 2);
        std::nth_element(values.begin(), at, values.begin() + static_cast<long>(count));
        return *at;
    };
    return Hertz{std::max(middle(looks_.turns) / all_s, middle(looks_.sizes))};
}

}  // namespace rankwright::tuning
