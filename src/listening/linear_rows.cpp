#include "listening/linear_rows.h"

#include "listening/wide_registers.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

using Complex = std::complex<double>;
constexpr std::size_t kRegister = 4;

inline void store(const FourDoubles& lanes, double* to) { std::memcpy(to, &lanes, sizeof lanes); }

RANKWRIGHT_WIDE void solve_rows(const Complex* l, std::size_t n, double* re, double* im,
                                std::size_t width) {
    for (std::size_t side = 0; side < width; side += kRegister)
        for (std::size_t i = 0; i < n; ++i) {
            const Complex* row = l + i * n;
            FourDoubles sum_re, sum_im, x, y, even_re{}, even_im{};
            load(sum_re, re + i * width + side);
            load(sum_im, im + i * width + side);
            std::size_t k = 0;
            for (; k + 2 <= i; k += 2) {
                load(x, re + k * width + side);
                load(y, im + k * width + side);
                sum_re -= row[k].real() * x - row[k].imag() * y;
                sum_im -= row[k].real() * y + row[k].imag() * x;
                load(x, re + (k + 1) * width + side);
                load(y, im + (k + 1) * width + side);
                even_re -= row[k + 1].real() * x - row[k + 1].imag() * y;
                even_im -= row[k + 1].real() * y + row[k + 1].imag() * x;
            }
            if (k < i) {
                load(x, re + k * width + side);
                load(y, im + k * width + side);
                sum_re -= row[k].real() * x - row[k].imag() * y;
                sum_im -= row[k].real() * y + row[k].imag() * x;
            }
            const double over = 1.0 / row[i].real();
            store((sum_re + even_re) * over, re + i * width + side);
            store((sum_im + even_im) * over, im + i * width + side);
        }
}

RANKWRIGHT_WIDE void multiply_rows(const double* re, const double* im, std::size_t rows,
                                   std::size_t width, double* products) {
    for (std::size_t i = 0; i < width; i += kRegister)
        for (std::size_t side = 0; side <= i; side += kRegister) {
            FourDoubles sums[kRegister]{}, x, y;
            for (std::size_t row = 0; row < rows; ++row) {
                const double *a = re + row * width, *b = im + row * width;
                load(x, a + side);
                load(y, b + side);
                for (std::size_t k = 0; k < kRegister; ++k)
                    sums[k] += a[i + k] * x + b[i + k] * y;
            }
            for (std::size_t k = 0; k < kRegister; ++k)
                store(sums[k], products + (i + k) * width + side);
        }
}

// Row by row of the columns already done, as `cholesky` does; `turned`: room for 2n.
RANKWRIGHT_WIDE bool factorise(Complex* a, std::size_t n, double* turned) {
    for (std::size_t j = 0; j < n; ++j) {
        const auto* row_j = reinterpret_cast<const double*>(a + j * n);
        double diagonal = a[j * n + j].real();
        for (std::size_t k = 0; k < j; ++k) {
            diagonal -= std::norm(a[j * n + k]);
            turned[2 * k] = -row_j[2 * k + 1];
            turned[2 * k + 1] = row_j[2 * k];
        }
        if (!(diagonal > 0.0)) return false;
        const double root = std::sqrt(diagonal), over = 1.0 / root;
        a[j * n + j] = root;
        for (std::size_t i = j + 1; i < n; ++i) {
            const auto* row_i = reinterpret_cast<const double*>(a + i * n);
            FourDoubles real{}, imaginary{}, x, y;
            std::size_t k = 0;
            for (; k + kRegister <= 2 * j; k += kRegister) {
                load(x, row_i + k);
                load(y, row_j + k);
                real += x * y;
                load(y, turned + k);
                imaginary += x * y;
            }
            for (; k < 2 * j; ++k) {
                real[0] += row_i[k] * row_j[k];
                imaginary[0] += row_i[k] * turned[k];
            }
            const Complex sum{(real[0] + real[1]) + (real[2] + real[3]),
                              (imaginary[0] + imaginary[1]) + (imaginary[2] + imaginary[3])};
            a[i * n + j] = (a[i * n + j] - sum) * over;
        }
    }
    return true;
}

// Column by column of L⁻¹, which begins with noughts; `re` and `im`: room for `n` registers.
RANKWRIGHT_WIDE void sum_inverse(const Complex* l, std::size_t n, double* re, double* im,
                                 double* diagonal) {
    for (std::size_t column = 0; column < n; column += kRegister) {
        FourDoubles norms{};
        for (std::size_t i = column; i < n; ++i) {
            const Complex* row = l + i * n;
            FourDoubles sum_re{}, sum_im{}, x, y;
            if (i < column + kRegister) sum_re[i - column] = 1.0;
            for (std::size_t k = column; k < i; ++k) {
                load(x, re + k * kRegister);
                load(y, im + k * kRegister);
                sum_re -= row[k].real() * x - row[k].imag() * y;
                sum_im -= row[k].real() * y + row[k].imag() * x;
            }
            const double over = 1.0 / row[i].real();
            x = sum_re * over;
            y = sum_im * over;
            store(x, re + i * kRegister);
            store(y, im + i * kRegister);
            norms += x * x + y * y;
        }
        for (std::size_t lane = 0; lane < std::min(kRegister, n - column); ++lane)
            diagonal[column + lane] = norms[lane];
    }
}

}  // namespace

bool cholesky(std::vector<Complex>& a, std::size_t n, std::vector<double>& room) {
    room.resize(2 * n);
    return factorise(a.data(), n, room.data());
}

void solve_lower(const Complex* l, SideBySide& b) {
    solve_rows(l, b.rows, b.re.data(), b.im.data(), b.width);
}

void products_of(const SideBySide& y, std::vector<double>& products) {
    products.resize(y.width * y.width);
    multiply_rows(y.re.data(), y.im.data(), y.rows, y.width, products.data());
}

void inverse_diagonal(const Complex* l, std::size_t n, std::vector<double>& diagonal,
                      std::vector<double>& room) {
    diagonal.resize(n);
    room.resize(2 * n * kRegister);
    sum_inverse(l, n, room.data(), room.data() + n * kRegister, diagonal.data());
}

}  // namespace rankwright::listening
