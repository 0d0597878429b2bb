// Small sums that the whole folder does.
#pragma once

#include <algorithm>
#include <cmath>
#include <numbers>
#include <span>

namespace rankwright::listening {

/// A whole turn, radians.
constexpr double kTurn = 2.0 * std::numbers::pi;

/// Cents of a small relative change of frequency, 1200 / ln 2: interval() for x near 0 of 1 + x.
constexpr double kCents = 1200.0 / std::numbers::ln2;

/// One cent as a small relative change of frequency.
constexpr double kCent = 1.0 / kCents;

constexpr double square(double x) { return x * x; }

/// Sum of the squares of samples.
inline double energy(std::span<const float> samples) {
    double sum = 0.0;
    for (const float x : samples)
        sum += static_cast<double>(x) * static_cast<double>(x);
    return sum;
}

/// Mean of the squares of samples, of which there is at least one.
inline double mean_square(std::span<const float> samples) {
    return energy(samples) / static_cast<double>(samples.size());
}

struct CosSin {
    double cos, sin;
};

/// Cosine and sine of an angle in turns, within 1e-12: the Taylor series of a quarter turn, in
/// steps that the compiler can take for several samples at once. Precise as long as `turns` is.
inline CosSin on_circle(double turns) {
    const auto sine = [](double quarter) {  // of −¼ to ¼ turns
        const double x = kTurn * quarter;
        const double y = x * x;
        double sum = 1.0 / 355687428096000.0;  // 1/17!
        sum = sum * y - 1.0 / 1307674368000.0;
        sum = sum * y + 1.0 / 6227020800.0;
        sum = sum * y - 1.0 / 39916800.0;
        sum = sum * y + 1.0 / 362880.0;
        sum = sum * y - 1.0 / 5040.0;
        sum = sum * y + 1.0 / 120.0;
        sum = sum * y - 1.0 / 6.0;
        return x + x * y * sum;
    };
    const double rest = turns - std::floor(turns + 0.5);
    const double size = std::abs(rest);
    return {sine(0.25 - size), sine(std::copysign(std::min(size, 0.5 - size), rest))};
}

}  // namespace rankwright::listening
