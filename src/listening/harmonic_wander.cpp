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
        common[b] = 0.0;
        for (std::size_t j = 2; j <= static_cast<std::size_t>(movement.count); ++j)
            common[b] += move.size[j] * polynomials[j];
    }
    turn_back(std::span(common).first(span));
}

/// Turns every partial's series back by `path`, the fundamental's phase.
void HarmonicFitter::State::turn_back(std::span<const double> path) {
    for (std::size_t b = 0; b < span; ++b) {
        const Complex turn = std::polar(1.0, -path[b]);
        Complex phase = turn;
        for (int k = 1; k <= count; ++k, phase = times(phase, turn))
            row(k)[b] = times(row(k)[b], phase);
    }
}

/// Leaves in `common` the fundamental's phase as partial k has it, from block to block, each with
/// `reach` blocks to either side. False where the partial isn't clear all along.
bool HarmonicFitter::State::trace(int k, std::size_t reach) {
    // A blend this far under the partial's own size is noise, another tone's beat or a silence, in
    // which a turn may be lost.
    constexpr double kClear = 0.25;
    const Complex* z = row(k);
    double power = 0.0;
    for (std::size_t b = 0; b < span; ++b)
        if (heard[b] != 0) power += std::norm(z[b]);
    const double least = square(kClear) * power / heard_blocks;
    Complex last{};
    double phase = 0.0;
    for (std::size_t b = 0; b < span; ++b) {
        if (heard[b] == 0) continue;
        Complex blend{};
        double blended = 0.0;
        for (std::size_t i = b - std::min(b, reach); i <= std::min(b + reach, span - 1); ++i) {
            if (heard[i] == 0) continue;
            blend += z[i];
            blended += 1.0;
        }
        blend /= blended;
        if (std::norm(blend) < least) return false;
        phase += last == Complex{} ? std::arg(blend) : std::arg(times(blend, std::conj(last)));
        last = blend;
        common[b] = phase / k;
    }
    bridge(std::span(common).first(span));
    return true;
}

/// A treble's wander is many turns of its phase, which no linear step finds. Where the strongest
/// partial is clear all along, its own phase, turn by turn, shows the way: the series are turned
/// back along that, less its line, which stays for step().
void HarmonicFitter::State::unwind() {
    constexpr double kReach_s = 0.015;       // quicker than a pipe wanders by a turn
    constexpr double kLinear_radians = 0.7;  // what follow() finds by itself
    int strongest = 0;
    double most = 0.0;
    for (int k = 1; k <= std::min(count, kApproachPartials); ++k) {
        double power = 0.0;
        for (std::size_t b = 0; b < span && tells(k); ++b)
            if (heard[b] != 0) power += std::norm(row(k)[b]);
        if (power <= most) continue;
        most = power;
        strongest = k;
    }
    if (strongest == 0) return;
    const double block_s = block / rate;
    if (!trace(strongest, static_cast<std::size_t>(std::lround(kReach_s / block_s)))) return;
    double middle = 0.0, climb = 0.0;
    for (std::size_t b = 0; b < span; ++b) {
        if (heard[b] == 0) continue;
        middle += common[b];
        climb += (static_cast<double>(b) - middle_block) * common[b];
    }
    middle /= heard_blocks;
    climb *= square(block) / time_square;
    double farthest = 0.0;
    for (std::size_t b = 0; b < span; ++b) {
        common[b] -= middle + climb * (static_cast<double>(b) - middle_block);
        farthest = std::max(farthest, std::abs(common[b]));
    }
    derotate(climb / block);
    if (farthest * strongest < kLinear_radians) return;
    const double before = coherent_power(strongest);
    turn_back(std::span(common).first(span));
    if (coherent_power(strongest) < before) {
        // The others don't move so: a second tone beats there.
        for (double& phase : std::span(common).first(span))
            phase = -phase;
        turn_back(std::span(common).first(span));
        return;
    }
    const PhaseModes modes = modes_of(std::span(common).first(span), movement.count);
    for (std::size_t j = 2; j <= static_cast<std::size_t>(movement.count); ++j)
        movement.size[j] += modes.size[j];
}

/// Of the means of the lower partials that stand well out of their noise, but for one.
double HarmonicFitter::State::coherent_power(int but) const {
    constexpr double kClear = 0.8;  // of the power that a block has in common with the next
    double power = 0.0;
    for (int k = 1; k <= std::min(count, kApproachPartials); ++k) {
        if (k == but || !tells(k)) continue;
        const Complex* z = row(k);
        Complex sum{};
        double own = 0.0, common_power = 0.0;
        for (std::size_t b = 0; b < span; ++b) {
            if (heard[b] == 0) continue;
            sum += z[b];
            if (b == 0 || heard[b - 1] == 0) continue;
            own += std::norm(z[b]);
            common_power += times(z[b], std::conj(z[b - 1])).real();
        }
        if (common_power > kClear * own) power += std::norm(sum);
    }
    return power;
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
