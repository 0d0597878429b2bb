// The modified Bessel function of the first kind, of which Kaiser's window is made.
#pragma once

namespace rankwright::listening {

/// I₀(x) by its power series (Abramowitz and Stegun 9.6.12), to 1e-12 for |x| up to 20.
inline double bessel_i0(double x) {
    double sum = 1.0, term = 1.0;
    for (int k = 1; k < 40 && term > 1e-12 * sum; ++k) {
        term *= (0.5 * x / k) * (0.5 * x / k);
        sum += term;
    }
    return sum;
}

}  // namespace rankwright::listening
