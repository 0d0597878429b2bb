// The Cramér–Rao bound for the pitch of one steady harmonic tone in white noise, every amplitude
// and phase unknown, from the exact Fisher information.
#pragma once

#include "support/tones.h"

#include <cmath>
#include <numbers>
#include <vector>

namespace rankwright::testing {

/// Lowest standard deviation, in Hz, of any unbiased estimate. The sums run over a lower rate that
/// still holds all partials, with the noise's density kept: the information is the same.
inline double pitch_bound_hz(const Tone& tone, double noise_variance) {
    const std::size_t partials = tone.amplitudes.size();
    const double fewest = 2.5 * static_cast<double>(partials) * tone.hz;
    const double every = std::max(1.0, std::floor(tone.rate / fewest));
    const double rate = tone.rate / every;
    const auto count = static_cast<std::size_t>(std::llround(tone.seconds * rate));
    // Columns: cosine and sine of each partial, and last the derivative by the pitch in Hz.
    const std::size_t columns = 2 * partials + 1;
    std::vector<double> gram(columns * columns, 0.0);
    std::vector<double> row(columns);
    const double turn = 2.0 * std::numbers::pi;
    for (std::size_t n = 0; n < count; ++n) {
        const double t = (static_cast<double>(n) - 0.5 * (static_cast<double>(count) - 1.0)) / rate;
        row[columns - 1] = 0.0;
        for (std::size_t k = 0; k < partials; ++k) {
            const double angle = turn * static_cast<double>(k + 1) * tone.hz * t;
            row[2 * k] = std::cos(angle);
            row[2 * k + 1] = std::sin(angle);
            // The phase given holds at frame 0; here time counts from the middle of the span.
            const double phase = tone.phases[k] + turn * static_cast<double>(k + 1) * tone.hz *
                                                      0.5 * (tone.seconds - 1.0 / tone.rate);
            row[columns - 1] -= turn * static_cast<double>(k + 1) * t * tone.amplitudes[k] *
                                std::sin(angle + phase);
        }
        for (std::size_t i = 0; i < columns; ++i)
            for (std::size_t j = 0; j <= i; ++j)
                gram[i * columns + j] += row[i] * row[j];
    }
    // Cholesky: the last pivot is what of the derivative the amplitudes can't explain.
    double last = 0.0;
    for (std::size_t i = 0; i < columns; ++i) {
        for (std::size_t j = 0; j <= i; ++j) {
            double sum = gram[i * columns + j];
            for (std::size_t k = 0; k < j; ++k)
                sum -= gram[i * columns + k] * gram[j * columns + k];
            if (i == j) {
                last = sum;
                gram[i * columns + i] = std::sqrt(sum);
            } else {
                gram[i * columns + j] = sum / gram[j * columns + j];
            }
        }
    }
    return std::sqrt(noise_variance / every / last);
}

/// The same for long spans, in closed form: var(ω) = 24σ² / (N(N²−1) Σk²A_k²), ω in rad/frame
/// (Nehorai & Porat, IEEE Trans. ASSP 34(5), 1986, p. 1124).
inline double long_span_bound_hz(const Tone& tone, double noise_variance) {
    const double n = tone.seconds * tone.rate;
    double sum = 0.0;
    for (std::size_t k = 0; k < tone.amplitudes.size(); ++k) {
        const double ka = static_cast<double>(k + 1) * tone.amplitudes[k];
        sum += ka * ka;
    }
    return std::sqrt(24.0 * noise_variance / (n * (n * n - 1.0) * sum)) * tone.rate /
           (2.0 * std::numbers::pi);
}

}  // namespace rankwright::testing
