#include "listening/held_span.h"

#include "listening/arithmetic.h"
#include "listening/held_hops.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace rankwright::listening {

namespace {

// Common practice, no source.
constexpr double kLeastHeld_s = 0.5;  // worth hearing by itself
constexpr Seconds kLongestDip{0.5};   // pipes that beat with one another

std::vector<double> hop_powers(std::span<const float> samples, SampleRate rate) {
    const auto frames =
        static_cast<std::size_t>(std::max(1.0, std::round(kHeldHop.count() * rate.value())));
    std::vector<double> power;
    for (std::size_t at = 0; at + frames <= samples.size(); at += frames)
        power.push_back(mean_square(samples.subspan(at, frames)));
    return power;
}

}  // namespace

SteadySpan held_span(std::span<const float> samples, SampleRate rate) {
    const SteadySpan all{0, samples.size()};
    const std::vector<double> power = hop_powers(samples, rate);
    if (power.empty()) return all;
    const HeldHops held = held_hops(power, kLongestDip, begins_with_key(samples, rate));
    const double all_s = static_cast<double>(samples.size()) / rate.value();
    const double from_s = held.from().count(), to_s = held.to(Seconds{all_s}).count();
    if (to_s < from_s + kLeastHeld_s) return all;
    const auto frame = [&](double seconds) {
        return static_cast<std::size_t>(std::lround(seconds * rate.value()));
    };
    return {frame(from_s), frame(to_s) - frame(from_s)};
}

}  // namespace rankwright::listening
