#include "listening/fit_uncertainty.h"

#include "listening/arithmetic.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

// The modes that tell how a pipe wanders: above the drift (2), and still well above noise. Real
// pipes' modes fall about as j^−4 in power.
constexpr int kFirstMode = 3;
constexpr int kLastMode = 6;
constexpr double kFall = 4.0;

/// The share of the excess over noise to believe: none while chance may explain it.
double belief(double excess_in_sd) { return std::clamp(excess_in_sd - 1.5, 0.0, 1.0); }

/// (j + 1) P_{j+1} = (2j + 1) x P_j − j P_{j−1} (Abramowitz and Stegun, 22.7.10), and √(2j + 1),
/// which brings P_j to a mean square of 1.
struct LegendreStep {
    double of_now, of_before, norm;
};

std::array<LegendreStep, PhaseModes::kMost + 1> legendre_steps() {
    std::array<LegendreStep, PhaseModes::kMost + 1> steps{};
    for (std::size_t i = 0; i < steps.size(); ++i) {
        const auto j = static_cast<double>(i);
        steps[i] = {(2.0 * j + 1.0) / (j + 1.0), j / (j + 1.0), std::sqrt(2.0 * j + 1.0)};
    }
    return steps;
}

}  // namespace

double scatter_variance(std::span<const PartialSlope> partials) {
    double total = 0.0;
    double squares = 0.0;
    double chi_square = 0.0;
    for (const PartialSlope& p : partials) {
        total += p.information;
        squares += square(p.information);
        chi_square += p.information * square(p.offset);
    }
    const double freedom = static_cast<double>(partials.size()) - 1.0;
    const double rest = total - squares / total;
    if (freedom < 1.0 || rest <= 0.0) return 0.0;
    const double excess = chi_square - freedom;
    const double own = std::max(excess, 0.0) / rest;  // variance of one partial's own wandering
    return belief(excess / std::sqrt(2.0 * freedom)) * own * squares / square(total);
}

std::array<double, PhaseModes::kMost + 1> legendre(std::size_t b, std::size_t blocks, int count) {
    static const std::array<LegendreStep, PhaseModes::kMost + 1> steps = legendre_steps();
    std::array<double, PhaseModes::kMost + 1> values{};
    const double x = (2.0 * static_cast<double>(b) + 1.0) / static_cast<double>(blocks) - 1.0;
    double before = 0.0;
    double now = 1.0;
    for (std::size_t j = 0; j <= static_cast<std::size_t>(count); ++j) {
        values[j] = now * steps[j].norm;
        const double after = steps[j].of_now * x * now - steps[j].of_before * before;
        before = now;
        now = after;
    }
    return values;
}

PhaseModes modes_of(std::span<const double> phase, int count) {
    PhaseModes modes;
    modes.count = std::min(count, PhaseModes::kMost);
    for (std::size_t b = 0; b < phase.size(); ++b) {
        const auto polynomials = legendre(b, phase.size(), modes.count);
        for (std::size_t j = 1; j <= static_cast<std::size_t>(modes.count); ++j)
            modes.size[j] += polynomials[j] * phase[b];
    }
    for (double& size : modes.size)
        size /= static_cast<double>(phase.size());
    return modes;
}

double mean_beside_slope_variance(const PhaseModes& modes, double mode_noise) {
    const auto fall = [](int j) { return std::pow(3.0 / j, kFall); };
    double level = 0.0;
    double level_weight = 0.0;
    for (int j = kFirstMode; j <= kLastMode; ++j) {
        level += square(modes.size[static_cast<std::size_t>(j)]) - mode_noise;
        level_weight += fall(j);
    }
    constexpr double kFreedom = kLastMode - kFirstMode + 1;
    if (level <= 0.0) return 0.0;
    if (mode_noise > 0.0) level *= belief(level / mode_noise / std::sqrt(2.0 * kFreedom));
    // At either end the polynomials are ±√(2j+1): odd ones differ by twice that.
    double ends = 0.0;
    for (int j = 3; j <= PhaseModes::kMost; j += 2)
        ends += 4.0 * (2.0 * j + 1.0) * fall(j);
    return level / level_weight * ends;
}

}  // namespace rankwright::listening
