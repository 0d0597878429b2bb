// Small dense positive definite systems, real or complex, by Cholesky's factors (Golub and Van
// Loan, Matrix Computations, 4th ed., section 4.2). Matrices are square, row by row, lower half
// used.
#pragma once

#include <cmath>
#include <complex>
#include <cstddef>
#include <span>

namespace rankwright::listening {

namespace detail {
inline double conjugate(double x) { return x; }
inline std::complex<double> conjugate(std::complex<double> x) { return std::conj(x); }
inline double real_part(double x) { return x; }
inline double real_part(std::complex<double> x) { return x.real(); }
}  // namespace detail

/// Replaces the lower half of `a` (n × n) by its factor L, a = L·Lᴴ. False when `a` isn't positive
/// definite; it is then half done.
template <typename T>
bool cholesky(std::span<T> a, std::size_t n) {
    for (std::size_t j = 0; j < n; ++j) {
        T* const row_j = &a[j * n];
        double diagonal = detail::real_part(row_j[j]);
        for (std::size_t k = 0; k < j; ++k)
            diagonal -= std::norm(row_j[k]);
        if (!(diagonal > 0.0)) return false;
        const double root = std::sqrt(diagonal);
        row_j[j] = root;
        for (std::size_t i = j + 1; i < n; ++i) {
            T* const row_i = &a[i * n];
            T sum = row_i[j];
            for (std::size_t k = 0; k < j; ++k)
                sum -= row_i[k] * detail::conjugate(row_j[k]);
            row_i[j] = sum / root;
        }
    }
    return true;
}

/// ln det of the matrix whose factor is `l`.
template <typename T>
double log_determinant(std::span<const T> l, std::size_t n) {
    double sum = 0.0;
    for (std::size_t i = 0; i < n; ++i)
        sum += std::log(detail::real_part(l[i * n + i]));
    return 2.0 * sum;
}

/// Solves L·y = b in place. `stride`: distance between the elements of `b`.
template <typename T>
void solve_lower(std::span<const T> l, std::size_t n, T* b, std::size_t stride = 1) {
    for (std::size_t i = 0; i < n; ++i) {
        T sum = b[i * stride];
        for (std::size_t k = 0; k < i; ++k)
            sum -= l[i * n + k] * b[k * stride];
        b[i * stride] = sum / detail::real_part(l[i * n + i]);
    }
}

/// Solves Lᴴ·x = y in place.
template <typename T>
void solve_upper(std::span<const T> l, std::size_t n, T* y, std::size_t stride = 1) {
    for (std::size_t i = n; i-- > 0;) {
        T sum = y[i * stride];
        for (std::size_t k = i + 1; k < n; ++k)
            sum -= detail::conjugate(l[k * n + i]) * y[k * stride];
        y[i * stride] = sum / detail::real_part(l[i * n + i]);
    }
}

/// Solves a·x = b in place, `l` the factor of a.
template <typename T>
void solve(std::span<const T> l, std::size_t n, T* b, std::size_t stride = 1) {
    solve_lower(l, n, b, stride);
    solve_upper(l, n, b, stride);
}

}  // namespace rankwright::listening
