// Sums over a band's samples that all joint fits do, several samples at a time where the processor
// can. Complex series lie in two arrays, real and imaginary parts. What is written must not overlap
// what is read.
#pragma once

#include <complex>
#include <cstddef>

namespace rankwright::listening {

/// Σ a·b.
double sum2(const double* a, const double* b, std::size_t n);

/// Σ a·b·c.
double sum3(const double* a, const double* b, const double* c, std::size_t n);

/// Σ weight·(re + i·im).
std::complex<double> weighted_sum(const double* weight, const double* re, const double* im,
                                  std::size_t n);

/// e^{2πi·turns}, sample by sample.
void lay_circle(const double* turns, double* re, double* im, std::size_t n);

/// conj(a)·b, sample by sample.
void conjugate_product(const double* a_re, const double* a_im, const double* b_re,
                       const double* b_im, double* re, double* im, std::size_t n);

/// Adds a·b to (re, im), sample by sample.
void add_product(const double* a_re, const double* a_im, const double* b_re, const double* b_im,
                 double* re, double* im, std::size_t n);

/// Adds factor·x to `sum`, sample by sample.
void add_scaled(double factor, const double* x, double* sum, std::size_t n);

}  // namespace rankwright::listening
