// The noise beside each partial, and what stands out of it.
#include "listening/harmonic_fit_state.h"

#include <cmath>

namespace rankwright::listening {

namespace {

/// What single precision leaves: noise in every block sum, and partials that aren't there, both
/// relative to the tone's amplitude.
constexpr double kRounding = 1e-7;
constexpr double kPhantom = 1e-6;

}  // namespace

/// Of all partials' phasors.
double HarmonicFitter::State::tone_power() const {
    double sum = 0.0;
    for (int k = 1; k <= count; ++k)
        sum += std::norm(phasor[static_cast<std::size_t>(k)]);
    return sum;
}

/// How far partial k stands out of its noise, as a power ratio over the whole span.
double HarmonicFitter::State::presence(int k) const {
    const auto i = static_cast<std::size_t>(k);
    if (std::norm(phasor[i]) <= square(kPhantom) * tone_power()) return 0.0;
    return std::norm(phasor[i] * block) * heard_blocks / noise[i];
}

/// Information of partial k on ω. What may be mere noise counts for nothing: its number squared
/// would make it loud.
double HarmonicFitter::State::information(int k) const {
    if (!tells(k)) return 0.0;
    const auto i = static_cast<std::size_t>(k);
    // Noise alone exceeds x times its mean power with a chance of e^−x.
    constexpr double kAbsent = 6.0;
    constexpr double kPresent = 14.0;
    const double certainty = (presence(k) - kAbsent) / (kPresent - kAbsent);
    if (certainty <= 0.0) return 0.0;
    return std::min(certainty, 1.0) * 2.0 * k * k * std::norm(phasor[i]) * square(block) *
           time_square / noise[i];
}

/// Each partial as it turns from block to block, for remove_leaks().
void HarmonicFitter::State::spread_tone() {
    for (int m = 1; m <= count; ++m) {
        const double turn = m * omega * block;
        double* const re = tone_re.data() + static_cast<std::size_t>(m) * blocks;
        double* const im = tone_im.data() + static_cast<std::size_t>(m) * blocks;
        for_turning(
            times(phasor[static_cast<std::size_t>(m)], std::polar(1.0, -turn * middle_block)),
            std::polar(1.0, turn), span, [=](std::size_t b, const Complex& at) {
                re[b] = at.real();
                im[b] = at.imag();
            });
    }
}

/// Leaves in `residual` what the model doesn't explain in the series of partial k. The tone is
/// spread already. What partial m and its mirror image leak, turned back by k, is
/// L₊·u + L₋·conj u = (L₊ + L₋) Re u + j (L₊ − L₋) Im u.
void HarmonicFitter::State::remove_leaks(int k) {
    const Complex* z = row(k);
    const Complex own = phasor[static_cast<std::size_t>(k)] * leak_at(k, k);
    double power = 0.0;
    for (std::size_t b = 0; b < span; ++b) {
        residual[b] = z[b] - own;
        if (heard[b] != 0) power += std::norm(residual[b]);
    }
    // A leak this far under what is there changes nothing.
    const double negligible = 1e-3 * power / heard_blocks;
    double* const __restrict re = leaks_re.data();
    double* const __restrict im = leaks_im.data();
    std::fill_n(re, span, phasor[0].real() * leak_at(k, 0));
    std::fill_n(im, span, 0.0);
    for (int m = 1; m <= count; ++m) {
        const auto i = static_cast<std::size_t>(m);
        const double above = m == k ? 0.0 : leak_at(k, m);
        const double mirrored = leak_at(k, -m);
        if (std::max(square(above), square(mirrored)) * std::norm(phasor[i]) < negligible) continue;
        const double* const tone_is_re = tone_re.data() + i * blocks;
        const double* const tone_is_im = tone_im.data() + i * blocks;
        for (std::size_t b = 0; b < span; ++b) {
            re[b] += (above + mirrored) * tone_is_re[b];
            im[b] += (above - mirrored) * tone_is_im[b];
        }
    }
    const double back = -k * omega * block;
    for_turning(std::polar(1.0, -back * middle_block), std::polar(1.0, back), span,
                [&](std::size_t b, const Complex& at) {
                    residual[b] -= times({re[b], im[b]}, at);
                });
}

/// Each partial's noise from the second differences of what is left: they see the noise between
/// this partial and its neighbours, and hardly the partial's own slow wander.
void HarmonicFitter::State::estimate_noise() {
    constexpr double kGain = 6.0;  // 1 + 4 + 1
    spread_tone();
    for (int k = 1; k <= count; ++k) {
        remove_leaks(k);
        double sum = 0.0;
        differences = 0.0;
        for (std::size_t b = 1; b + 1 < span; ++b) {
            if ((heard[b - 1] & heard[b] & heard[b + 1]) == 0) continue;
            sum += std::norm(residual[b - 1] - 2.0 * residual[b] + residual[b + 1]);
            differences += 1.0;
        }
        noise[static_cast<std::size_t>(k)] = sum / (kGain * std::max(differences, 1.0));
    }
    steady_noise();
    const double rounding = square(kRounding * block) * tone_power();
    for (int k = 1; k <= count; ++k)
        noise[static_cast<std::size_t>(k)] += rounding;
}

/// Few blocks make a shaky floor, and shaky weights: lean on the floors of the neighbours, through
/// a line in log power over log frequency about each partial, as far as the own one is uncertain.
void HarmonicFitter::State::steady_noise() {
    constexpr double kNeighbours = 30.0;  // degrees of freedom that the line is trusted for
    constexpr double kWidth = 0.5;        // in log frequency
    // Second differences of white noise: 1 + 2 (4²/6² + 1²/6²) of them are worth one.
    const double freedom = std::max(differences, 1.0) / (1.0 + 2.0 * (16.0 + 1.0) / 36.0);
    const double log_bias = 0.5 / freedom;
    for (int k = 1; k <= count; ++k)
        logs[static_cast<std::size_t>(k)] =
            noise[static_cast<std::size_t>(k)] > 0.0
                ? std::log(noise[static_cast<std::size_t>(k)]) + log_bias
                : 0.0;
    for (int k = 1; k <= count; ++k) {
        double w0 = 0.0, w1 = 0.0, w2 = 0.0, y0 = 0.0, y1 = 0.0;
        for (int m = 1; m <= count; ++m) {
            const auto i = static_cast<std::size_t>(m);
            if (m == k || noise[i] <= 0.0) continue;
            const double x = std::log(static_cast<double>(m) / k) / kWidth;
            const double w = std::exp(-0.5 * x * x) / m;
            w0 += w;
            w1 += w * x;
            w2 += w * x * x;
            y0 += w * logs[i];
            y1 += w * x * logs[i];
        }
        const double determinant = w0 * w2 - w1 * w1;
        trend[static_cast<std::size_t>(k)] = determinant > 1e-3 * w0 * w0
                                                 ? std::exp((w2 * y0 - w1 * y1) / determinant)
                                                 : noise[static_cast<std::size_t>(k)];
    }
    for (int k = 1; k <= count; ++k) {
        const auto i = static_cast<std::size_t>(k);
        noise[i] = (freedom * noise[i] + kNeighbours * trend[i]) / (freedom + kNeighbours);
    }
}

}  // namespace rankwright::listening
