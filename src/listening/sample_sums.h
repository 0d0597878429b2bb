// Sums over a band's samples that all joint fits do, several samples at a time where the processor
// can. Complex series lie in two arrays, real and imaginary parts. What is written must not overlap
// what is read.
#pragma once

#include <complex>
#include <cstddef>

namespace rankwright::listening {

/// Σ a·b.
double sum2(const double* a, const double* b, std::size_t n);

/// Σ row·x of `count` rows of `n` each, one behind another.
void sum_rows(const double* rows, std::size_t count, const double* x, std::size_t n, double* sums);

/// Σ row·(re + i·im) of `count` rows of `n` each, one behind another.
void weighted_sums(const double* rows, std::size_t count, const double* re, const double* im,
                   std::size_t n, std::complex<double>* sums);

/// e^{2πi·turns}, sample by sample.
void lay_circle(const double* turns, double* re, double* im, std::size_t n);

/// conj(a)·b, sample by sample.
void conjugate_product(const double* a_re, const double* a_im, const double* b_re,
                       const double* b_im, double* re, double* im, std::size_t n);

/// Adds a·b to (re, im), sample by sample.
void add_product(const double* a_re, const double* a_im, const double* b_re, const double* b_im,
                 double* re, double* im, std::size_t n);

/// Σ factor·row of `count` rows of `n` each, one behind another, into `sum`.
void combine_rows(const double* factors, std::size_t count, const double* rows, std::size_t n,
                  double* sum);

/// (re, im)·Σ amplitude·row of `count` rows of `n` each, one behind another, into (to_re, to_im).
void lay_modulated(const double* re, const double* im, const double* rows,
                   const std::complex<double>* amplitudes, std::size_t count, double* to_re,
                   double* to_im, std::size_t n);

/// Adds factor·x to `sum`, sample by sample.
void add_scaled(double factor, const double* x, double* sum, std::size_t n);

}  // namespace rankwright::listening
