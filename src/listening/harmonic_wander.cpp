// The slow movement that all partials of a pipe share: followed, and its part in the uncertainty.
#include "listening/harmonic_fit_state.h"

#include <cmath>

namespace rankwright::listening {

namespace {

/// The mean given is the least-squares slope of the phase. Slopes by somewhat other weights over
/// the span (by power, between windows) differ from it when the pipe wanders, by about this share
/// of what the farthest, the mean of the pitch itself, does.
constexpr double kMeanAmbiguity = 0.05;

}  // namespace

/// Fills `common` with the fundamental's residual phase by the partials 1 to `highest`, and
/// `slopes` with their own answers. Returns their information, 0 when none is present.
double HarmonicFitter::State::common_phase(int highest) {
    present = 0;
    double weights = 0.0;
    std::fill_n(common.begin(), span, 0.0);
    spread_tone();
    for (int k = 1; k <= highest; ++k) {
        const double weight = information(k);
        if (weight <= 0.0) continue;
        slopes[present++] = {offset(k), weight};
        weights += weight;
        remove_leaks(k);
        const auto i = static_cast<std::size_t>(k);
        const double size = std::norm(phasor[i]) * leak_at(k, k) * k;
        for (std::size_t b = 0; b < span; ++b)
            common[b] += weight * times(residual[b], std::conj(phasor[i])).imag() / size;
    }
    if (weights <= 0.0) return 0.0;
    for (std::size_t b = 0; b < span; ++b)
        common[b] /= weights;
    bridge(std::span(common).first(span));
    return weights;
}

/// Draws a straight line over each stretch that is left out.
void HarmonicFitter::State::bridge(std::span<double> phase) const {
    std::size_t last = span;  // block heard before; `span`: none yet
    for (std::size_t b = 0; b < span; ++b) {
        if (heard[b] == 0) continue;
        const std::size_t from = last == span ? 0 : last + 1;
        for (std::size_t i = from; i < b; ++i) {
            const double part =
                static_cast<double>(i - from + 1) / static_cast<double>(b - from + 1);
            phase[i] = last == span ? phase[b] : phase[last] + part * (phase[b] - phase[last]);
        }
        last = b;
    }
    for (std::size_t i = last + 1; last < span && i < span; ++i)
        phase[i] = phase[last];
}

/// Turns the series back along the common phase's slow movement, so that no partial loses its
/// coherence to it, and notes the movement. The line stays for step(). Lowest partials first: a
/// phase that goes round at the high ones is found at the low ones.
void HarmonicFitter::State::follow(int highest) {
    const double weights = common_phase(highest);
    if (weights <= 0.0) return;
    const PhaseModes found = modes_of(std::span(common).first(span), movement.count);
    const double mode_noise = time_square / weights / heard_blocks;
    // Noise alone exceeds 9 times its mean once in 400.
    constexpr double kChance = 9.0;
    constexpr double kCertain = 16.0;
    PhaseModes move;
    bool moved = false;
    for (std::size_t j = 2; j <= static_cast<std::size_t>(movement.count); ++j) {
        const double ratio = square(found.size[j]) / mode_noise;
        const double belief = std::clamp((ratio - kChance) / (kCertain - kChance), 0.0, 1.0);
        move.size[j] = belief * found.size[j];
        movement.size[j] += move.size[j];
        moved = moved || belief > 0.0;
    }
    if (!moved) return;
    for (std::size_t b = 0; b < span; ++b) {
        const auto polynomials = legendre(b, span, movement.count);
        double angle = 0.0;
        for (std::size_t j = 2; j <= static_cast<std::size_t>(movement.count); ++j)
            angle += move.size[j] * polynomials[j];
        const Complex turn = std::polar(1.0, -angle);
        Complex phase = turn;
        for (int k = 1; k <= count; ++k, phase = times(phase, turn))
            row(k)[b] = times(row(k)[b], phase);
    }
}

/// Variance of the mean pitch beyond the noise, in (radians a frame)²: partials that disagree, and
/// means that differ.
double HarmonicFitter::State::wander_variance() {
    const double weights = common_phase(count);
    PhaseModes modes = modes_of(std::span(common).first(span), movement.count);
    for (std::size_t j = 2; j < modes.size.size(); ++j)
        modes.size[j] += movement.size[j];
    const double frames = block * static_cast<double>(span);
    const double mode_noise = time_square / weights / heard_blocks;
    const double wander = mean_beside_slope_variance(modes, mode_noise) / square(frames);
    const double scatter = scatter_variance(std::span(slopes).first(present));
    return scatter + square(kMeanAmbiguity) * wander;
}

}  // namespace rankwright::listening
