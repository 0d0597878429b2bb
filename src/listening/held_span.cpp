#include "listening/held_span.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace rankwright::listening {

namespace {

// Common practice, no source.
constexpr double kHop_s = 0.05;
constexpr double kSpeech_s = 0.3;      // and the room's build-up
constexpr double kEnd_s = 0.2;         // what stands 3 dB softer already was let go before
constexpr double kLeastHeld_s = 0.5;   // worth hearing by itself
constexpr double kLongestDip_s = 0.5;  // pipes that beat with one another
constexpr double kHopSounds = 0.1;     // of the usual power
constexpr double kHopStands = 0.5;

struct HopPowers {
    std::size_t frames = 1;
    std::vector<double> power;
};

HopPowers hops_of(std::span<const float> samples, SampleRate rate) {
    HopPowers hops;
    hops.frames =
        std::max<std::size_t>(1, static_cast<std::size_t>(std::lround(kHop_s * rate.value())));
    for (std::size_t at = 0; at + hops.frames <= samples.size(); at += hops.frames) {
        double sum = 0.0;
        for (const float x : samples.subspan(at, hops.frames))
            sum += static_cast<double>(x) * static_cast<double>(x);
        hops.power.push_back(sum / static_cast<double>(hops.frames));
    }
    return hops;
}

double nth_of(std::vector<double> values, double share) {
    const auto at = static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
    std::nth_element(values.begin(), values.begin() + at, values.end());
    return values[static_cast<std::size_t>(at)];
}

// Of the hops in which anything sounds; a short knock is louder.
double usual_power(const std::vector<double>& power) {
    constexpr double kLoud = 0.9;
    const double loud = nth_of(power, kLoud);
    std::vector<double> sounding;
    for (const double p : power)
        if (p >= kHopSounds * loud) sounding.push_back(p);
    return nth_of(std::move(sounding), 0.5);
}

struct Stretch {
    std::size_t first = 0, end = 0;
};

// The longest in which hops sound, dips bridged.
Stretch longest_sound(const std::vector<double>& power, double least) {
    const auto dip = static_cast<std::size_t>(kLongestDip_s / kHop_s);
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

SteadySpan held_span(std::span<const float> samples, SampleRate rate) {
    const SteadySpan all{0, samples.size()};
    const auto [frames, power] = hops_of(samples, rate);
    if (power.empty()) return all;
    const double usual = usual_power(power);
    const Stretch sound = longest_sound(power, kHopSounds * usual);
    const bool begins = sound.first > 0, ends = sound.end < power.size();
    std::size_t first = sound.first, end = sound.end;
    while (begins && first + 1 < end && power[first] < kHopStands * usual)
        ++first;
    while (ends && end > first + 1 && power[end - 1] < kHopStands * usual)
        --end;
    const auto inside = [&](double seconds) {
        return static_cast<std::size_t>(std::lround(seconds * rate.value()));
    };
    const std::size_t from = begins ? first * frames + inside(kSpeech_s) : 0;
    const std::size_t left_out = inside(ends ? kEnd_s : 0.0);
    const std::size_t to = (ends ? end * frames : samples.size()) - left_out;
    if (to < from + inside(kLeastHeld_s)) return all;
    return {from, to - from};
}

}  // namespace rankwright::listening
