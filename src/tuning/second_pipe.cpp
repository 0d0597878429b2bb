#include "tuning/second_pipe.h"

#include "listening/measure.h"
#include "listening/tone_removal.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <iterator>
#include <numbers>

namespace rankwright::tuning {

namespace {

constexpr std::array<int, 3> kTimes{2, 3, 4};

/// `lines` and all about them, so that a reading that strays from the pipe's pitch doesn't come to
/// rest on the skirts of the partials that it is to leave aside.
std::vector<Hertz> with_surroundings(std::span<const Hertz> lines) {
    constexpr Cents kAbout{90.0};
    std::vector<Hertz> all;
    for (const Hertz line : lines) {
        const double step = listening::line_reach(line).value();
        const double lowest = transpose(line, Cents{-kAbout.value()}).value();
        const double highest = transpose(line, kAbout).value();
        for (double at = lowest; at < highest + step; at += step)
            all.push_back(Hertz{at});
    }
    return all;
}

/// Power in the band of a Hann window over all of `samples` about `line`.
double power_at(std::span<const float> samples, SampleRate rate, Hertz line) {
    const double count = static_cast<double>(samples.size());
    const std::complex<double> step =
        std::polar(1.0, -2.0 * std::numbers::pi * line.value() / rate.value());
    const std::complex<double> window_step = std::polar(1.0, 2.0 * std::numbers::pi / count);
    std::complex<double> turn = 1.0, window = 1.0, sum = 0.0;
    for (const float sample : samples) {
        sum += (1.0 - window.real()) * static_cast<double>(sample) * turn;
        turn *= step;
        window *= window_step;
    }
    return std::norm(sum);
}

/// Whether a line stands at `line`, clear of what is beside it, and no greater one at `own`.
bool stands_clear(std::span<const float> samples, SampleRate rate, Hertz line, Hertz own) {
    constexpr double kClear = 20.0;  // over an exact median noise is so once in a million
    constexpr std::array<double, 10> kBeside{-8, -7, -6, -5, -4, 4, 5, 6, 7, 8};
    const Hertz bin{rate.value() / static_cast<double>(samples.size())};
    const double power = power_at(samples, rate, line);
    constexpr double kGreater = 2.0;
    if (kGreater * power < power_at(samples, rate, own)) return false;
    std::array<double, kBeside.size()> beside{};
    std::transform(kBeside.begin(), kBeside.end(), beside.begin(),
                   [&](double bins) { return power_at(samples, rate, line + bins * bin); });
    std::nth_element(beside.begin(), beside.begin() + beside.size() / 2, beside.end());
    return power > kClear * beside[beside.size() / 2];
}

/// Tremulants beat 4 to 8 times a second (common practice, no source).
bool as_far_as_shaken(const HeardTone& tone, const EveryNth& nth) {
    constexpr double kSlowest_hz = 3.0;
    const Hertz meets = nth.times * tone.pitch;
    return std::abs((transpose(meets, nth.apart) - meets).value()) > kSlowest_hz;
}

}  // namespace

std::vector<EveryNth> every_nth(const HeardTone& tone, std::span<const float> samples,
                                SampleRate rate) {
    constexpr double kHighest = 0.45;  // of the rate
    constexpr double kFitted = 0.5;    // no partial that is fitted may be forgotten
    std::vector<EveryNth> all;
    // What sounds two octaves up has partials at every fourth only.
    const auto of_nth = [](int number, int times) {
        return number % times == 0 && !(times == 2 && number % 4 == 0);
    };
    // The partials that the pipe has to itself, whichever of these a second one sounds.
    std::vector<Hertz> shared;
    for (int k = 1; k * tone.pitch.value() < kFitted * rate.value(); ++k)
        if (k % 2 == 0 || k % 3 == 0) shared.push_back(k * tone.pitch);
    const auto own = listening::measure_pipe(samples, rate, tone.pitch, with_surroundings(shared));
    if (!own) return all;
    for (const int times : kTimes) {
        if (times * tone.pitch.value() > kHighest * rate.value()) break;
        std::vector<Hertz> between;
        for (int k = 1; k * tone.pitch.value() < kFitted * rate.value(); ++k)
            if (!of_nth(k, times)) between.push_back(k * tone.pitch);
        const auto nth =
            listening::measure_pipe(samples, rate, tone.pitch, with_surroundings(between));
        if (!nth) continue;
        const bool stands = std::any_of(
            nth->partials.begin(), nth->partials.end(), [&](const listening::PartialLevel& one) {
                return of_nth(one.number, times) &&
                       stands_clear(samples, rate, one.number * nth->pitch,
                                    one.number * own->pitch);
            });
        if (!stands) continue;
        all.push_back({times, interval(own->pitch, nth->pitch),
                       Cents{std::hypot(own->cents_sd().value(), nth->cents_sd().value())}});
    }
    return all;
}

bool stands_apart(const EveryNth& nth) {
    constexpr Cents kLeast{0.4};  // what the room may do to one pipe's partials
    constexpr double kClearly = 4.0;
    return std::abs(nth.apart.value()) > std::max(kLeast.value(), kClearly * nth.sd.value());
}

std::optional<int> second_pipe(std::span<const HeardTone* const> tones, bool shaken) {
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
                if (nth.times != kTimes[t] || (shaken && as_far_as_shaken(*tone, nth))) continue;
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
