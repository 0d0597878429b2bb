#include "listening/sample_sums.h"

#include "listening/arithmetic.h"
#include "listening/wide_registers.h"

namespace rankwright::listening {

namespace {

double sum_of(const FourDoubles& sums) { return (sums[0] + sums[1]) + (sums[2] + sums[3]); }

}  // namespace

RANKWRIGHT_WIDE double sum2(const double* a, const double* b, std::size_t n) {
    FourDoubles sums{}, x, y;
    std::size_t m = 0;
    for (; m + 4 <= n; m += 4) {
        load(x, a + m);
        load(y, b + m);
        sums += x * y;
    }
    for (; m < n; ++m)
        sums[0] += a[m] * b[m];
    return sum_of(sums);
}

RANKWRIGHT_WIDE double sum3(const double* a, const double* b, const double* c, std::size_t n) {
    FourDoubles sums{}, x, y, z;
    std::size_t m = 0;
    for (; m + 4 <= n; m += 4) {
        load(x, a + m);
        load(y, b + m);
        load(z, c + m);
        sums += x * y * z;
    }
    for (; m < n; ++m)
        sums[0] += a[m] * b[m] * c[m];
    return sum_of(sums);
}

RANKWRIGHT_WIDE std::complex<double> weighted_sum(const double* weight, const double* re,
                                                  const double* im, std::size_t n) {
    FourDoubles sums_re{}, sums_im{}, w, x, y;
    std::size_t m = 0;
    for (; m + 4 <= n; m += 4) {
        load(w, weight + m);
        load(x, re + m);
        load(y, im + m);
        sums_re += w * x;
        sums_im += w * y;
    }
    for (; m < n; ++m) {
        sums_re[0] += weight[m] * re[m];
        sums_im[0] += weight[m] * im[m];
    }
    return {sum_of(sums_re), sum_of(sums_im)};
}

RANKWRIGHT_WIDE void lay_circle(const double* turns, double* __restrict re, double* __restrict im,
                                std::size_t n) {
    for (std::size_t m = 0; m < n; ++m) {
        const CosSin at = on_circle(turns[m]);
        re[m] = at.cos;
        im[m] = at.sin;
    }
}

RANKWRIGHT_WIDE void conjugate_product(const double* a_re, const double* a_im, const double* b_re,
                                       const double* b_im, double* __restrict re,
                                       double* __restrict im, std::size_t n) {
    for (std::size_t m = 0; m < n; ++m) {
        re[m] = a_re[m] * b_re[m] + a_im[m] * b_im[m];
        im[m] = a_re[m] * b_im[m] - a_im[m] * b_re[m];
    }
}

RANKWRIGHT_WIDE void add_product(const double* a_re, const double* a_im, const double* b_re,
                                 const double* b_im, double* __restrict re, double* __restrict im,
                                 std::size_t n) {
    for (std::size_t m = 0; m < n; ++m) {
        re[m] += a_re[m] * b_re[m] - a_im[m] * b_im[m];
        im[m] += a_re[m] * b_im[m] + a_im[m] * b_re[m];
    }
}

RANKWRIGHT_WIDE void add_scaled(double factor, const double* x, double* __restrict sum,
                                std::size_t n) {
    for (std::size_t m = 0; m < n; ++m)
        sum[m] += factor * x[m];
}

}  // namespace rankwright::listening
