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

namespace {

constexpr std::size_t kAtOnce = 4;  // rows, each read beside the others

// Inlined into functions that are compiled for each width.
template <std::size_t kRows>
[[gnu::always_inline]] inline void sum_few(const double* rows, const double* x, std::size_t n,
                                           double* sums) {
    FourDoubles sum[kRows]{}, w, y;
    std::size_t m = 0;
    for (; m + 4 <= n; m += 4) {
        load(y, x + m);
        for (std::size_t r = 0; r < kRows; ++r) {
            load(w, rows + r * n + m);
            sum[r] += w * y;
        }
    }
    for (; m < n; ++m)
        for (std::size_t r = 0; r < kRows; ++r)
            sum[r][0] += rows[r * n + m] * x[m];
    for (std::size_t r = 0; r < kRows; ++r)
        sums[r] = sum_of(sum[r]);
}

template <std::size_t kRows>
[[gnu::always_inline]] inline void weigh_few(const double* rows, const double* re, const double* im,
                                             std::size_t n, std::complex<double>* sums) {
    FourDoubles sum_re[kRows]{}, sum_im[kRows]{}, w, x, y;
    std::size_t m = 0;
    for (; m + 4 <= n; m += 4) {
        load(x, re + m);
        load(y, im + m);
        for (std::size_t r = 0; r < kRows; ++r) {
            load(w, rows + r * n + m);
            sum_re[r] += w * x;
            sum_im[r] += w * y;
        }
    }
    for (; m < n; ++m)
        for (std::size_t r = 0; r < kRows; ++r) {
            sum_re[r][0] += rows[r * n + m] * re[m];
            sum_im[r][0] += rows[r * n + m] * im[m];
        }
    for (std::size_t r = 0; r < kRows; ++r)
        sums[r] = {sum_of(sum_re[r]), sum_of(sum_im[r])};
}

}  // namespace

RANKWRIGHT_WIDE void sum_rows(const double* rows, std::size_t count, const double* x, std::size_t n,
                              double* sums) {
    std::size_t row = 0;
    for (; row + kAtOnce <= count; row += kAtOnce)
        sum_few<kAtOnce>(rows + row * n, x, n, sums + row);
    if (count - row == 1) sum_few<1>(rows + row * n, x, n, sums + row);
    if (count - row == 2) sum_few<2>(rows + row * n, x, n, sums + row);
    if (count - row == 3) sum_few<3>(rows + row * n, x, n, sums + row);
}

RANKWRIGHT_WIDE void weighted_sums(const double* rows, std::size_t count, const double* re,
                                   const double* im, std::size_t n, std::complex<double>* sums) {
    std::size_t row = 0;
    for (; row + kAtOnce <= count; row += kAtOnce)
        weigh_few<kAtOnce>(rows + row * n, re, im, n, sums + row);
    if (count - row == 1) weigh_few<1>(rows + row * n, re, im, n, sums + row);
    if (count - row == 2) weigh_few<2>(rows + row * n, re, im, n, sums + row);
    if (count - row == 3) weigh_few<3>(rows + row * n, re, im, n, sums + row);
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

RANKWRIGHT_WIDE void combine_rows(const double* factors, std::size_t count, const double* rows,
                                  std::size_t n, double* __restrict sum) {
    std::size_t m = 0;
    for (; m + 4 <= n; m += 4) {
        FourDoubles all{}, x;
        for (std::size_t row = 0; row < count; ++row) {
            load(x, rows + row * n + m);
            all += factors[row] * x;
        }
        std::memcpy(sum + m, &all, sizeof all);
    }
    for (; m < n; ++m) {
        sum[m] = 0.0;
        for (std::size_t row = 0; row < count; ++row)
            sum[m] += factors[row] * rows[row * n + m];
    }
}

RANKWRIGHT_WIDE void lay_modulated(const double* re, const double* im, const double* rows,
                                   const std::complex<double>* amplitudes, std::size_t count,
                                   double* __restrict to_re, double* __restrict to_im,
                                   std::size_t n) {
    std::size_t m = 0;
    for (; m + 4 <= n; m += 4) {
        FourDoubles sum_re{}, sum_im{}, x, y;
        for (std::size_t row = 0; row < count; ++row) {
            load(x, rows + row * n + m);
            sum_re += amplitudes[row].real() * x;
            sum_im += amplitudes[row].imag() * x;
        }
        load(x, re + m);
        load(y, im + m);
        const FourDoubles out_re = x * sum_re - y * sum_im, out_im = x * sum_im + y * sum_re;
        std::memcpy(to_re + m, &out_re, sizeof out_re);
        std::memcpy(to_im + m, &out_im, sizeof out_im);
    }
    for (; m < n; ++m) {
        double sum_re = 0.0, sum_im = 0.0;
        for (std::size_t row = 0; row < count; ++row) {
            sum_re += amplitudes[row].real() * rows[row * n + m];
            sum_im += amplitudes[row].imag() * rows[row * n + m];
        }
        to_re[m] = re[m] * sum_re - im[m] * sum_im;
        to_im[m] = re[m] * sum_im + im[m] * sum_re;
    }
}

RANKWRIGHT_WIDE void add_scaled(double factor, const double* x, double* __restrict sum,
                                std::size_t n) {
    for (std::size_t m = 0; m < n; ++m)
        sum[m] += factor * x[m];
}

}  // namespace rankwright::listening
