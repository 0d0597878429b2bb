#include "listening/fit_uncertainty.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace rankwright::listening {

namespace {

double square(double x) { return x * x; }

/// Legendre modes used: 1 is the line itself, already fitted.
constexpr int kModes = 8;

/// The share of the excess over noise to believe: none while chance may explain it.
double belief(double excess_in_sd) { return std::clamp(excess_in_sd - 1.5, 0.0, 1.0); }

}  // namespace

double scatter_variance(std::span<const PartialSlope> partials) {
    double total = 0.0;
    double count = 0.0;
    for (const PartialSlope& p : partials) {
        total += p.information;
        count += 1.0;
    }
    if (count < 2.0 || total <= 0.0) return 0.0;
    double chi_square = 0.0;
    double variance = 0.0;
    for (const PartialSlope& p : partials) {
        const double leverage = std::min(p.information / total, 0.9);
        chi_square += p.information * square(p.offset);
        variance += square(p.information / total) *
                    (square(p.offset) / (1.0 - leverage) - 1.0 / p.information);
    }
    const double freedom = count - 1.0;
    return belief((chi_square - freedom) / std::sqrt(2.0 * freedom)) * std::max(variance, 0.0);
}

Wander wander_of(std::span<const double> phase, double noise_variance, double block) {
    const auto n = static_cast<double>(phase.size());
    const double span = n * block;
    std::array<double, kModes + 1> mode{};  // of unit mean square over the span
    for (std::size_t b = 0; b < phase.size(); ++b) {
        const double x = (2.0 * static_cast<double>(b) + 1.0) / n - 1.0;
        double before = 1.0;
        double now = x;
        for (int j = 1; j <= kModes; ++j) {
            mode[static_cast<std::size_t>(j)] += now * phase[b];
            const double after = ((2.0 * j + 1.0) * x * now - j * before) / (j + 1.0);
            before = now;
            now = after;
        }
    }
    const double mode_noise = noise_variance / n;
    for (int j = 1; j <= kModes; ++j)
        mode[static_cast<std::size_t>(j)] *= std::sqrt(2.0 * j + 1.0) / n;
    Wander wander;
    // Real pipes' modes fall about as j^−3 in power. Level of mode 3 by the modes above the drift.
    const auto fall = [](int j) { return std::pow(3.0 / j, 3.0); };
    double level = 0.0;
    double level_weight = 0.0;
    double chi_square = 0.0;
    constexpr int kFirst = 3;
    constexpr int kLast = 6;
    for (int j = kFirst; j <= kLast; ++j) {
        const double excess = square(mode[static_cast<std::size_t>(j)]) - mode_noise;
        level += excess;
        level_weight += fall(j);
        chi_square += mode_noise > 0.0 ? excess / mode_noise : 0.0;
    }
    const double freedom = kLast - kFirst + 1;
    level = std::max(level / level_weight, 0.0) * belief(chi_square / std::sqrt(2.0 * freedom));
    // Mean of the pitch = phase gained end to end: only odd modes, √(2j+1) at either end.
    double ends = 0.0;
    for (int j = 3; j <= 31; j += 2)
        ends += 4.0 * (2.0 * j + 1.0) * fall(j);
    wander.mean_variance = level * ends / square(span);
    return wander;
}

}  // namespace rankwright::listening
