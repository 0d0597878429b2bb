#include "listening/held_hops.h"

#include "core/median.h"
#include "listening/arithmetic.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <utility>

namespace rankwright::listening {

namespace {

// Common practice, no source.
constexpr double kHopSounds = 0.1;  // of the usual power
constexpr double kHopStands = 0.5;

// Of the hops in which anything sounds; a short knock is louder.
double usual_power(const std::vector<double>& power) {
    constexpr double kLoud = 0.9;
    const double loud = value_above(kLoud, power);
    std::vector<double> sounding;
    for (const double p : power)
        if (p >= kHopSounds * loud) sounding.push_back(p);
    return value_above(0.5, std::move(sounding));
}

struct Stretch {
    std::size_t first = 0, end = 0;
};

// The longest in which hops sound, dips bridged.
Stretch longest_sound(const std::vector<double>& power, double least, std::size_t dip) {
    Stretch longest, now;
    for (std::size_t i = 0; i < power.size(); ++i) {
        if (power[i] < least) continue;
        if (now.end == 0 || i - now.end > dip) now.first = i;
        now.end = i + 1;
        if (now.end - now.first > longest.end - longest.first) longest = now;
    }
    return longest;
}

}  // namespace

bool begins_with_key(std::span<const float> samples, SampleRate rate) {
    // Common practice, no source: no pipe speaks within so short a time.
    constexpr Seconds kFirst{0.003}, kBefore{0.2}, kAfter{0.5};
    constexpr double kSofter = 0.1;
    const auto frame = [&](Seconds at) {
        return std::min(samples.size(),
                        static_cast<std::size_t>(std::lround(at.count() * rate.value())));
    };
    const auto power = [&](std::size_t from, std::size_t to) {
        return to > from ? mean_square(samples.subspan(from, to - from)) : 0.0;
    };
    return power(0, frame(kFirst)) < kSofter * power(frame(kBefore), frame(kAfter));
}

HeldHops held_hops(const std::vector<double>& power, Seconds longest_dip, bool begins_with_key) {
    assert(!power.empty());
    const double usual = usual_power(power);
    const auto [first, end] =
        longest_sound(power, kHopSounds * usual, static_cast<std::size_t>(longest_dip / kHeldHop));
    HeldHops held{first, end, first > 0 || begins_with_key, end < power.size()};
    while (held.begins && held.first + 1 < held.end && power[held.first] < kHopStands * usual)
        ++held.first;
    while (held.ends && held.end > held.first + 1 && power[held.end - 1] < kHopStands * usual)
        --held.end;
    return held;
}

}  // namespace rankwright::listening
