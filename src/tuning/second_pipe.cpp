#include "tuning/second_pipe.h"

#include "listening/measure.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>

namespace rankwright::tuning {

namespace {

constexpr std::array<int, 3> kTimes{2, 3, 4};

}  // namespace

std::vector<EveryNth> every_nth(const HeardTone& tone, std::span<const float> samples,
                                SampleRate rate) {
    constexpr double kHighest = 0.45;  // of the rate
    std::vector<EveryNth> all;
    for (const int times : kTimes) {
        if (times * tone.pitch.value() > kHighest * rate.value()) break;
        std::vector<Hertz> every, between;
        for (int k = 1; k * tone.pitch.value() < kHighest * rate.value(); ++k) {
            // What sounds two octaves up has partials at every fourth only.
            const bool either = times == 2 && k % 4 == 0;
            if (k % times == 0) every.push_back(k * tone.pitch);
            if (k % times != 0 || either) between.push_back(k * tone.pitch);
        }
        const auto others = listening::measure_pipe(samples, rate, tone.pitch, every);
        const auto nth = listening::measure_pipe(samples, rate, tone.pitch, between);
        if (!others || !nth) continue;
        all.push_back({times, interval(others->pitch, nth->pitch),
                       Cents{std::hypot(others->cents_sd().value(), nth->cents_sd().value())}});
    }
    return all;
}

bool stands_apart(const EveryNth& nth) {
    constexpr Cents kLeast{0.4};  // what the room may do to one pipe's partials
    constexpr double kClearly = 4.0;
    return std::abs(nth.apart.value()) > std::max(kLeast.value(), kClearly * nth.sd.value());
}

std::optional<int> second_pipe(std::span<const HeardTone* const> tones) {
    constexpr double kShare = 0.4;
    constexpr int kFewest = 6;
    // A second pipe shows at its partials' multiples too, among others, and so less.
    constexpr double kOfMost = 0.5;
    double mean[kTimes.size()] = {};
    for (std::size_t t = 0; t < kTimes.size(); ++t) {
        int known = 0, apart = 0;
        double sum = 0.0;
        for (const HeardTone* tone : tones)
            for (const EveryNth& nth : tone->every_nth) {
                if (nth.times != kTimes[t]) continue;
                ++known;
                sum += std::abs(nth.apart.value());
                if (stands_apart(nth)) ++apart;
            }
        if (apart >= kFewest && apart >= kShare * known) mean[t] = sum / known;
    }
    const double most = *std::max_element(std::begin(mean), std::end(mean));
    for (std::size_t t = 0; t < kTimes.size() && most > 0.0; ++t)
        if (mean[t] >= kOfMost * most) return kTimes[t];
    return std::nullopt;
}

}  // namespace rankwright::tuning
