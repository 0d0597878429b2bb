#include "listening/slow_terms.h"

#include "listening/sample_sums.h"
#include "listening/wide_registers.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::listening {

namespace {

constexpr std::size_t kSlowRegister = 4;

double half_turns(double u) { return std::numbers::pi * (std::clamp(u, -0.5, 0.5) + 0.5); }

/// Σ factor·(order j further on + order j before)/2 for `n` sums one behind another; as many may be
/// read beyond them, and written, as fill a register.
RANKWRIGHT_WIDE void lay_products(const std::complex<double>* factors, std::size_t count,
                                  double sign, const double* re, const double* im, double* to_re,
                                  double* to_im, std::size_t n) {
    for (std::size_t k = 0; k < n; k += kSlowRegister) {
        FourDoubles sum_re{}, sum_im{}, up, down;
        for (std::size_t j = 0; j < count; ++j) {
            const double x = 0.5 * factors[j].real(), y = 0.5 * sign * factors[j].imag();
            load(up, re + k + j);
            load(down, re + k - j);
            const FourDoubles a = up + down;
            load(up, im + k + j);
            load(down, im + k - j);
            const FourDoubles b = up + down;
            sum_re += x * a - y * b;
            sum_im += x * b + y * a;
        }
        std::memcpy(to_re + k, &sum_re, sizeof sum_re);
        std::memcpy(to_im + k, &sum_im, sizeof sum_im);
    }
}

/// half·cosine·(up + down) + level·slope, term by term.
RANKWRIGHT_WIDE void lay_sums(double half, const double* cosine, const double* up,
                              const double* down, double level, const double* slope,
                              double* __restrict to, std::size_t n) {
    for (std::size_t r = 0; r < n; ++r)
        to[r] = half * cosine[r] * (up[r] + down[r]) + level * slope[r];
}

/// Adds factor·cosine·x, term by term.
RANKWRIGHT_WIDE void add_slopes(double factor, const double* cosine, const double* x,
                                double* __restrict to, std::size_t n) {
    for (std::size_t r = 0; r < n; ++r)
        to[r] += factor * cosine[r] * x[r];
}

RANKWRIGHT_WIDE void multiply_by(const double* factor, double* __restrict x, std::size_t n) {
    for (std::size_t m = 0; m < n; ++m)
        x[m] *= factor[m];
}

}  // namespace

double SlowTerm::at(double u) const {
    return cosine * std::cos(static_cast<double>(order) * half_turns(u)) + slope * u;
}

void SlowRows::lay(double first, double step, std::size_t samples, std::size_t orders) {
    const std::size_t n = samples;
    time_.resize(n);
    cosines_.resize(orders * n);
    std::fill_n(cosines_.begin(), n, 1.0);
    for (std::size_t m = 0; m < n; ++m)
        time_[m] = first + static_cast<double>(m) * step;
    if (orders == 1) return;
    double* const once = &cosines_[n];
    for (std::size_t m = 0; m < n; ++m)
        once[m] = std::cos(half_turns(time_[m]));
    // Chebyshev's recurrence.
    for (std::size_t row = 2; row < orders; ++row) {
        double* const to = &cosines_[row * n];
        const double *const last = to - n, *const before = last - n;
        for (std::size_t m = 0; m < n; ++m)
            to[m] = 2.0 * once[m] * last[m] - before[m];
    }
}

void SlowMoments::resize(const Orders& orders) {
    orders_ = orders;
    for (std::size_t power = 0; power < powers_.size(); ++power) {
        const std::size_t size = orders[power] == 0 ? 0 : 2 * orders[power] - 1 + kSlowRegister;
        powers_[power].re.resize(size);
        powers_[power].im.resize(size);
    }
}

void SlowMoments::mirror() {
    for (std::size_t power = 0; power < powers_.size(); ++power)
        for (std::vector<double>* sums : {&powers_[power].re, &powers_[power].im})
            for (std::size_t k = 1; k < orders_[power]; ++k)
                (*sums)[middle(power) - k] = (*sums)[middle(power) + k];
}

void SlowMoments::take(const SlowRows& rows, SlowSeries& series, const Orders& orders) {
    const std::size_t n = rows.samples(), known = std::min(orders_[0], orders[0]);
    sums_.resize(orders[0]);
    for (std::size_t k = 0; k < known; ++k)
        sums_[k] = {powers_[0].re[middle(0) + k], powers_[0].im[middle(0) + k]};
    resize(orders);
    for (std::size_t power = 0; power < powers_.size() && orders[power] > 0; ++power) {
        if (power > 0) {
            multiply_by(rows.time().data(), series.re.data(), n);
            multiply_by(rows.time().data(), series.im.data(), n);
        }
        const std::size_t from = power == 0 ? known : 0;
        sums_.resize(std::max(sums_.size(), orders[power]));
        weighted_sums(rows.cosines().data() + from * n, orders[power] - from, series.re.data(),
                      series.im.data(), n, sums_.data() + from);
        for (std::size_t k = 0; k < orders[power]; ++k) {
            powers_[power].re[middle(power) + k] = sums_[k].real();
            powers_[power].im[middle(power) + k] = sums_[k].imag();
        }
    }
    mirror();
}

void SlowMoments::take_product(const SlowMoments& of, std::span<const std::complex<double>> factors,
                               bool conjugate) {
    const std::size_t fewer = factors.size() - 1;
    Orders orders{};
    for (std::size_t power = 0; power < orders.size(); ++power)
        orders[power] = of.orders_[power] > fewer ? of.orders_[power] - fewer : 0;
    resize(orders);
    for (std::size_t power = 0; power < powers_.size(); ++power) {
        const std::size_t n = orders[power];
        if (n == 0) continue;
        const double* const re = &of.powers_[power].re[of.middle(power)];
        const double* const im = &of.powers_[power].im[of.middle(power)];
        lay_products(factors.data(), factors.size(), conjugate ? -1.0 : 1.0, re, im,
                     &powers_[power].re[middle(power)], &powers_[power].im[middle(power)], n);
    }
    mirror();
}

void SlowMoments::conjugate() {
    for (Power& power : powers_)
        for (double& x : power.im)
            x = -x;
}

std::complex<double> SlowMoments::sum(const SlowTerm& term) const {
    const std::size_t at = middle(0) + term.order;
    std::complex<double> sum = term.cosine * std::complex(powers_[0].re[at], powers_[0].im[at]);
    if (term.slope != 0.0)
        sum += term.slope * std::complex(powers_[1].re[middle(1)], powers_[1].im[middle(1)]);
    return sum;
}

void SlowMoments::sums(const SlowTerm& a, const SlowTerms& terms, std::size_t count, double* re,
                       double* im) const {
    const bool timed = orders_[1] > a.order, squared = orders_[2] > 0;
    for (const bool imaginary : {false, true}) {
        const auto of = [&](std::size_t power) {
            return (imaginary ? powers_[power].im : powers_[power].re).data() + middle(power);
        };
        double* const to = imaginary ? im : re;
        if (to == nullptr) continue;
        double level = timed ? a.cosine * of(1)[a.order] : 0.0;
        if (squared) level += a.slope * of(2)[0];
        lay_sums(0.5 * a.cosine, terms.cosine.data(), of(0) + a.order, of(0) - a.order, level,
                 terms.slope.data(), to, count);
        if (a.slope != 0.0) add_slopes(a.slope, terms.cosine.data(), of(1), to, count);
    }
}

}  // namespace rankwright::listening
