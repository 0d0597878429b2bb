#include "listening/hop_leaks.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::listening {

namespace {

constexpr double kPi = std::numbers::pi;
/// Of all power; what a softer partial leaks lies under what hides it anyway. What leaks brought in
/// must not count as a partial that leaks itself: the sweeps would hardly converge.
constexpr double kLoudEnough = 1e-5;
constexpr int kMostSweeps = 8;
constexpr double kLeft = 1e-11;  // of all power, changed by a sweep: enough

}  // namespace

HopLeaks::HopLeaks(int most_partials) {
    const auto rows = static_cast<std::size_t>(most_partials) + 1;
    sine_.resize(2 * rows);
    cosine_.resize(2 * rows);
    below_.resize(2 * rows);
    below_slope_.resize(2 * rows);
    turn_.resize(2 * rows);
    clean_.resize(rows);
    cleaner_.resize(rows);
}

void HopLeaks::tune(double cycles_per_frame, int partials, std::size_t frames) {
    cycles_per_frame_ = cycles_per_frame;
    partials_ = partials;
    frames_ = static_cast<double>(frames);
    for (int d = 1; d <= 2 * partials; ++d) {
        const auto i = static_cast<std::size_t>(d);
        const double cycles = d * cycles_per_frame;
        sine_[i] = std::sin(kPi * cycles * frames_);
        cosine_[i] = std::cos(kPi * cycles * frames_);
        below_[i] = std::sin(kPi * cycles);
        below_slope_[i] = std::cos(kPi * cycles);
    }
}

// With c the partial's own phasor, m·ω its pitch and n the hop's middle, its sum is
// c·e^{jm(ω−ω₀)n}·D(m(ω−ω₀)) in its own band and c·e^{j(mω−kω₀)n}·D(mω−kω₀) in that of partial k;
// D(x) = sin(Nx/2) / sin(x/2), Dirichlet's kernel.
void HopLeaks::remove(std::span<std::complex<double>> sums, double middle, double offset) {
    const double cycles = cycles_per_frame_ * middle;
    const auto step = std::polar(1.0, 2.0 * kPi * (cycles - std::floor(cycles)));
    turn_[0] = 1.0;
    for (std::size_t d = 1; d <= static_cast<std::size_t>(2 * partials_); ++d)
        turn_[d] = turn_[d - 1] * step;
    double power = 0.0;
    for (std::size_t k = 0; k <= static_cast<std::size_t>(partials_); ++k) {
        clean_[k] = sums[k];
        power += std::norm(sums[k]);
    }
    // The leaks are small, those of what was left out before are smaller.
    for (int sweep = 0; sweep < kMostSweeps; ++sweep) {
        std::copy_n(sums.begin(), partials_ + 1, cleaner_.begin());
        for (int m = 0; m <= partials_; ++m)
            if (std::norm(clean_[static_cast<std::size_t>(m)]) > kLoudEnough * power)
                take_out(m, offset);
        std::swap(clean_, cleaner_);
        double change = 0.0;
        for (std::size_t k = 0; k <= static_cast<std::size_t>(partials_); ++k)
            change += std::norm(clean_[k] - cleaner_[k]);
        if (change < kLeft * power) break;
    }
    std::copy_n(clean_.begin(), partials_ + 1, sums.begin());
}

void HopLeaks::take_out(int m, double offset) {
    const double half = kPi * m * offset;
    const double sine = std::sin(half * frames_);
    const double cosine = std::cos(half * frames_);
    const double own = std::abs(sine) < 1e-6 ? frames_ : sine / std::sin(half);
    const std::complex<double> phasor = clean_[static_cast<std::size_t>(m)] / own;
    // Of a partial `d` above; below, the kernel is the same with -d.
    const auto kernel = [&](std::size_t d, double sign) {
        return (sine_[d] * cosine + sign * cosine_[d] * sine) /
               (below_[d] + sign * half * below_slope_[d]);
    };
    for (int k = 0; k <= partials_; ++k) {
        std::complex<double>& to = cleaner_[static_cast<std::size_t>(k)];
        const auto above = static_cast<std::size_t>(k + m);
        if (m != 0)  // the mirror image
            to -= std::conj(phasor * turn_[above]) * kernel(above, 1.0);
        if (m == k) continue;
        const auto d = static_cast<std::size_t>(std::abs(m - k));
        to -= phasor * (m > k ? turn_[d] : std::conj(turn_[d])) * kernel(d, m > k ? 1.0 : -1.0);
    }
}

}  // namespace rankwright::listening
