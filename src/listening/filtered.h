// One sample of a complex filter's output.
#pragma once

#include <complex>
#include <cstddef>

namespace rankwright::listening {

/// Σ x·re + i Σ x·im over `length` samples and taps: summed in float over short runs, then in
/// double.
std::complex<double> filtered(const float* x, const float* re, const float* im, std::size_t length);

}  // namespace rankwright::listening
