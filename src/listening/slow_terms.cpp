#include "listening/slow_terms.h"

#include "listening/sample_sums.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::listening {

namespace {

double half_turns(double u) { return std::numbers::pi * (std::clamp(u, -0.5, 0.5) + 0.5); }

}  // namespace

double SlowTerm::at(double u) const {
    return cosine * std::cos(static_cast<double>(order) * half_turns(u)) + slope * u;
}

void SlowRows::lay(double first, double step, std::size_t samples, std::size_t highest) {
    const std::size_t n = samples;
    time_.resize(n);
    cosines_.resize((2 * highest + 1) * n);
    std::fill_n(cosines_.begin(), n, 1.0);
    for (std::size_t m = 0; m < n; ++m)
        time_[m] = first + static_cast<double>(m) * step;
    if (highest == 0) return;
    double* const once = &cosines_[n];
    for (std::size_t m = 0; m < n; ++m)
        once[m] = std::cos(half_turns(time_[m]));
    // Chebyshev's recurrence.
    for (std::size_t row = 2; row <= 2 * highest; ++row) {
        double* const to = &cosines_[row * n];
        const double *const last = to - n, *const before = last - n;
        for (std::size_t m = 0; m < n; ++m)
            to[m] = 2.0 * once[m] * last[m] - before[m];
    }
}

void SlowMoments::take(const SlowRows& rows, std::span<const double> series, std::size_t one,
                       std::size_t other) {
    const std::size_t n = rows.samples(), highest = std::max(one, other);
    cosine_.resize(one + other + 1);
    time_cosine_.resize(highest + 1);
    series_.resize(n);
    const double* const time = rows.time().data();
    for (std::size_t m = 0; m < n; ++m)
        series_[m] = time[m] * series[m];
    sum_rows(rows.cosines().data(), cosine_.size(), series.data(), n, cosine_.data());
    sum_rows(rows.cosines().data(), time_cosine_.size(), series_.data(), n, time_cosine_.data());
    time_time_ = sum2(time, series_.data(), n);
}

}  // namespace rankwright::listening
