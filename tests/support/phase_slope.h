// An independent reference for the pitch of a recorded pipe over a span: each partial is shifted to
// zero, smoothed by a Hann window, its phase unwrapped, and a line fitted to the phase weighted by
// power; the partials' slopes are combined by their information. Shares nothing with src.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <optional>
#include <span>
#include <vector>

namespace rankwright::testing {

/// Smoothed samples of x·e^{−jωn}, one every `hop` frames, windows of `width` frames inside `x`.
inline std::vector<std::complex<double>> shifted(std::span<const float> x, double hz, double rate,
                                                 std::size_t width, std::size_t hop) {
    std::vector<std::complex<double>> turned(x.size());
    const std::complex<double> step = std::polar(1.0, -2.0 * std::numbers::pi * hz / rate);
    std::complex<double> phase{1.0, 0.0};
    for (std::size_t n = 0; n < x.size(); ++n, phase *= step)
        turned[n] = phase * static_cast<double>(x[n]);
    std::vector<double> window(width);
    double sum = 0.0;
    for (std::size_t i = 0; i < width; ++i) {
        window[i] = 1.0 - std::cos(2.0 * std::numbers::pi * (static_cast<double>(i) + 1.0) /
                                   (static_cast<double>(width) + 1.0));
        sum += window[i];
    }
    std::vector<std::complex<double>> out;
    for (std::size_t first = 0; first + width <= x.size(); first += hop) {
        std::complex<double> z{};
        for (std::size_t i = 0; i < width; ++i)
            z += window[i] * turned[first + i];
        out.push_back(z / sum);
    }
    return out;
}

struct Slope {
    double hz = 0.0;
    double weight = 0.0;
};

inline std::optional<Slope> partial_slope(std::span<const float> x, double rate, double hz, int k,
                                          std::size_t width, std::size_t hop) {
    const auto z = shifted(x, k * hz, rate, width, hop);
    const auto beside = shifted(x, (k + 0.5) * hz, rate, width, hop);
    double power = 0.0, noise = 0.0, wt = 0.0, wp = 0.0;
    std::vector<double> phase(z.size());
    for (std::size_t i = 0; i < z.size(); ++i) {
        noise += std::norm(beside[i]);
        const double w = std::norm(z[i]);
        phase[i] = std::arg(z[i]);
        if (i > 0) {
            const double turn = 2.0 * std::numbers::pi;
            phase[i] -= turn * std::round((phase[i] - phase[i - 1]) / turn);
            if (std::abs(phase[i] - phase[i - 1]) > 2.5) return {};  // lost in noise
        }
        power += w;
        wt += w * static_cast<double>(i);
        wp += w * phase[i];
    }
    if (power < 30.0 * noise) return {};
    // Where a partial fades nearly away its phase means nothing and may slip by a turn.
    constexpr double kFaded = 0.1;
    const double mean_power = power / static_cast<double>(z.size());
    for (const auto& value : z)
        if (std::norm(value) < kFaded * mean_power) return {};
    double tt = 0.0, tp = 0.0;
    for (std::size_t i = 0; i < z.size(); ++i) {
        const double w = std::norm(z[i]);
        const double t = static_cast<double>(i) - wt / power;
        tt += w * t * t;
        tp += w * t * (phase[i] - wp / power);
    }
    const double slope = tp / tt / (2.0 * std::numbers::pi) * rate / static_cast<double>(hop);
    return Slope{slope / k, k * k * power / noise};
}

/// The pitch over frames [first, last) of `x`, which should go on a little beyond both ends so that
/// the windows' middles can span them. `near`: within a few cents. Empty when no partial stands
/// clear of its noise.
inline std::optional<double> phase_slope_pitch(std::span<const float> x, std::size_t first,
                                               std::size_t last, double rate, double near) {
    const double band = std::min(0.4 * near, 60.0);
    const auto width = static_cast<std::size_t>(2.0 * rate / band);
    const std::size_t hop = std::max<std::size_t>(1, width / 8);
    const std::size_t from = first - std::min(first, width / 2);
    const std::size_t to = std::min(x.size(), last + width / 2);
    double sum = 0.0, weights = 0.0;
    for (int k = 1; k <= 40 && k * near < 0.45 * rate; ++k) {
        const auto slope = partial_slope(x.subspan(from, to - from), rate, near, k, width, hop);
        if (!slope) continue;
        sum += slope->weight * slope->hz;
        weights += slope->weight;
    }
    if (weights <= 0.0) return {};
    return near + sum / weights;
}

}  // namespace rankwright::testing
