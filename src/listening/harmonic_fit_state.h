// Inside of harmonic_fit: the span being fitted, shared by its parts (fit, noise, wander).
#pragma once

#include "listening/arithmetic.h"
#include "listening/fit_uncertainty.h"
#include "listening/harmonic_fit.h"

#include <algorithm>
#include <array>
#include <complex>
#include <cstdint>
#include <vector>

namespace rankwright::listening {

using Complex = std::complex<double>;

/// a·b without the look for infinities that std::complex owes to the C standard's annex G.
inline Complex times(const Complex& a, const Complex& b) {
    return {a.real() * b.real() - a.imag() * b.imag(), a.real() * b.imag() + a.imag() * b.real()};
}

/// Calls `with(b, phase·turn^b)` for b < count. Four phasors side by side: one alone would wait for
/// each product.
template <typename With>
void for_turning(Complex phase, Complex turn, std::size_t count, With&& with) {
    constexpr std::size_t kLanes = 4;
    std::array<Complex, kLanes> lanes{phase};
    for (std::size_t i = 1; i < kLanes; ++i)
        lanes[i] = times(lanes[i - 1], turn);
    const Complex step = times(times(turn, turn), times(turn, turn));
    std::size_t b = 0;
    for (; b + kLanes <= count; b += kLanes) {
        for (std::size_t i = 0; i < kLanes; ++i) {
            with(b + i, lanes[i]);
            lanes[i] = times(lanes[i], step);
        }
    }
    for (std::size_t i = 0; b < count; ++b, ++i)
        with(b, lanes[i]);
}

/// Higher partials are weak in most pipes, and a whistle in one's band could lead astray.
inline constexpr int kApproachPartials = 8;

struct HarmonicFitter::State {
    State(int most_partials, std::size_t most_blocks)
        : partials(std::clamp(most_partials, 1, static_cast<int>(kMostPartials))),
          blocks(most_blocks) {
        const auto rows = static_cast<std::size_t>(partials) + 1;
        series.resize(rows * blocks);
        residual.resize(blocks);
        tone_re.resize(rows * blocks);
        tone_im.resize(rows * blocks);
        leaks_re.resize(blocks);
        leaks_im.resize(blocks);
        heard.resize(blocks);
        unrest.resize(blocks);
        sorted.resize(blocks);
        leak.resize(rows * (2 * rows - 1));
        of_tone.resize(rows);
        of_bank.resize(rows);
        comb.resize(3 * rows);
        comb_slope.resize(3 * rows);
        mean.resize(rows);
        slope.resize(rows);
        phasor.resize(rows);
        noise.resize(rows);
        common.resize(blocks);
        slopes.resize(rows);
        logs.resize(rows);
        trend.resize(rows);
    }

    bool load(const PartialBank& bank, std::size_t first, std::size_t count,
              std::span<const std::uint8_t> only);
    void place_heard(std::span<const std::uint8_t> only);
    void approach();
    void derotate(double by);
    void demodulated_sums();
    void tabulate_leaks();
    void solve_phasors();
    double offset(int k) const;
    double step() const;
    double common_phase(int highest);
    void unwind();
    bool trace(int k, std::size_t reach);
    double coherent_power(int but) const;
    void turn_back(std::span<const double> path);
    void follow(int highest);
    double improve(int follow_to, bool noise_too);
    void leave_absent();
    double clarity() const;
    double explained() const;
    void converge(const PartialBank& bank, std::size_t first, std::span<const std::uint8_t> only);
    void estimate_noise();
    void steady_noise();
    void spread_tone();
    void remove_leaks(int k);
    void find_unrest();
    void bridge(std::span<double> phase) const;
    double wander_variance();
    bool tells(int k) const {
        const auto i = static_cast<std::size_t>(k);
        return i >= not_its_own.size() || not_its_own[i] == 0;
    }
    double presence(int k) const;
    double information(int k) const;
    double tone_power() const;

    std::size_t leak_index(int k, int m) const {
        return static_cast<std::size_t>(k * (2 * partials + 1) + m + partials);
    }
    double& leak_at(int k, int m) { return leak[leak_index(k, m)]; }
    double leak_at(int k, int m) const { return leak[leak_index(k, m)]; }
    Complex comb_at(int d) const { return comb[static_cast<std::size_t>(d + 2 * partials)]; }
    Complex comb_slope_at(int d) const {
        return comb_slope[static_cast<std::size_t>(d + 2 * partials)];
    }
    Complex* row(int k) { return &series[static_cast<std::size_t>(k) * blocks]; }
    const Complex* row(int k) const { return &series[static_cast<std::size_t>(k) * blocks]; }
    Complex signed_phasor(int m) const {
        const Complex c = phasor[static_cast<std::size_t>(std::abs(m))];
        return m < 0 ? std::conj(c) : c;
    }

    // Room.
    int partials;
    std::size_t blocks;
    // The present span. Angles in radians a frame, times in frames from the
    // middle of the blocks heard.
    int count = 0;                              // partials
    std::size_t span = 0;                       // blocks
    double block = 0.0;                         // frames of a block
    double rate = 0.0;                          // frames a second
    double tuned = 0.0;                         // the bank's ω
    double omega = 0.0;                         // the fit's ω
    double tabulated = 0.0;                     // the ω that the tables of leaks hold for
    std::span<const std::uint8_t> not_its_own;  // by partial: 1 where another tone sounds
    std::vector<std::uint8_t> heard;            // of each block: 0 where it is left out
    double heard_blocks = 0.0;                  // of them
    double middle_block = 0.0;                  // their mean place: τ = 0
    double time_square = 0.0;                   // Σ τ² over them
    std::vector<Complex> series;                // [k][block], turned back by the fit's ω
    std::vector<Complex> residual;              // of one partial
    std::vector<double> tone_re, tone_im;       // [k][block]: the partials themselves, turning
    std::vector<double> leaks_re, leaks_im;     // scratch: what they put into one series
    std::vector<double> unrest;                 // of each block, see harmonic_unrest.cpp
    std::vector<double> sorted;                 // scratch of it
    struct HalfAngle {
        double sine, cosine, block_sine, block_cosine;
    };
    std::vector<HalfAngle> of_tone, of_bank;  // scratch: of each partial's turn a frame
    std::vector<double> leak;                 // [k][m]: what partial m puts into a block sum of k
    std::vector<Complex> comb;                // [m − k]: mean of e^{j(m−k)ωτ} over the blocks
    std::vector<Complex> comb_slope;          // the same times τ, summed
    std::vector<Complex> mean;                // of each partial's series
    std::vector<Complex> slope;               // Σ τ · series
    std::vector<Complex> phasor;
    std::vector<double> noise;
    double differences = 0.0;    // second differences that it rests on
    std::vector<double> common;  // phase of the fundamental that isn't explained yet
    std::vector<PartialSlope> slopes;
    std::size_t present = 0;          // of them
    PhaseModes movement;              // followed so far
    std::vector<double> logs, trend;  // of the noise, while it is steadied
};

}  // namespace rankwright::listening
