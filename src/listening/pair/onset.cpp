#include "listening/pair/onset.h"

#include "listening/arithmetic.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <vector>

namespace rankwright::listening {

namespace {

using Complex = std::complex<double>;
/// What is compared: so much before a moment, with so much after the tone has begun to sound.
constexpr double kStood_s = 0.2, kSetIn_s = 0.15;
constexpr double kEvery_s = 0.02;
/// Unrest of a tone that stands, in its power.
constexpr double kOnsetUnrest = 0.003;
/// The change against the unrest before it, at least.
constexpr double kSharp = 8.0;

/// A band's phasor as it would stand if the reference did.
std::vector<Complex> held(const PairBand& band, double pitch_hz) {
    std::vector<Complex> y(band.z.size());
    const double hz = band.line.reference_partial * pitch_hz - band.line.centre_hz;
    for (std::size_t m = 0; m < y.size(); ++m) {
        const double t = band.first_s + static_cast<double>(m) / band.rate;
        y[m] = band.z[m] * std::polar(1.0, -kTurn * hz * t);
    }
    return y;
}

/// Mean of what was heard from `from_s` to `to_s`, and of its power.
struct HeardMean {
    Complex value;
    double power = 0.0, count = 0.0;
    double unrest() const { return power - std::norm(value); }
};
HeardMean mean_heard(const PairBand& band, const std::vector<Complex>& y, double from_s,
                     double to_s) {
    HeardMean sum;
    const auto index = [&](double t) {
        const double m = std::ceil((t - band.first_s) * band.rate);
        return static_cast<std::size_t>(std::clamp(m, 0.0, static_cast<double>(y.size())));
    };
    for (std::size_t m = index(from_s); m < index(to_s); ++m) {
        const double heard = band.heard.empty() ? 1.0 : band.heard[m];
        sum.value += heard * y[m];
        sum.power += heard * std::norm(y[m]);
        sum.count += heard;
    }
    sum.value /= std::max(sum.count, 1.0);
    sum.power /= std::max(sum.count, 1.0);
    return sum;
}

}  // namespace

std::optional<double> onset_in(std::span<const PairBand> bands, double pitch_hz) {
    std::vector<std::vector<Complex>> phasors;
    double first = 0.0, last = 0.0;
    for (const PairBand& band : bands) {
        phasors.push_back(band.line.reference_partial > 0 ? held(band, pitch_hz)
                                                          : std::vector<Complex>{});
        first = std::min(first, band.first_s);
        last = std::max(last, band.first_s + static_cast<double>(band.z.size()) / band.rate);
    }
    std::optional<double> onset;
    double sharpest = kSharp;
    for (double at = first + kStood_s; at + kSetIn_s <= last; at += kEvery_s) {
        double changed = 0.0, unrest = 0.0, power = 0.0;
        for (std::size_t b = 0; b < bands.size(); ++b) {
            if (phasors[b].empty()) continue;
            const HeardMean before = mean_heard(bands[b], phasors[b], at - kStood_s, at);
            const HeardMean after = mean_heard(bands[b], phasors[b], at, at + kSetIn_s);
            if (before.count < 3.0 || after.count < 3.0) continue;
            changed += std::norm(after.value - before.value);
            unrest += before.unrest();
            power += before.power;
        }
        const double sharp = changed / std::max(unrest + kOnsetUnrest * power, 1e-300);
        if (sharp <= sharpest) continue;
        sharpest = sharp;
        onset = at;
    }
    return onset;
}

}  // namespace rankwright::listening
