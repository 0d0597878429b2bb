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
constexpr double kUnheard = 1e-10;
constexpr double kInItsBand = 0.4;  // cycles a hop
constexpr int kMostSweeps = 8;
constexpr double kLeft = 1e-9;  // of all power, changed by a sweep: the next changes far less

}  // namespace

HopLeaks::HopLeaks(int most_partials) {
    const auto rows = static_cast<std::size_t>(most_partials) + 1;
    for (auto* of_distance : {&sine_, &cosine_, &slope_, &turn_re_, &turn_im_})
        of_distance->resize(2 * rows);
    for (auto* of_partial : {&leak_re_, &leak_im_})
        of_partial->resize(rows);
    clean_.resize(rows);
}

void HopLeaks::tune(double cycles_per_frame, int partials, std::size_t frames) {
    cycles_per_frame_ = cycles_per_frame;
    partials_ = partials;
    frames_ = static_cast<double>(frames);
    most_sine_ = most_cosine_ = 0.0;
    for (int d = 1; d <= 2 * partials; ++d) {
        const auto i = static_cast<std::size_t>(d);
        const double cycles = d * cycles_per_frame;
        const double below = std::sin(kPi * cycles);
        const double sine = std::sin(kPi * cycles * frames_) / below;
        const double cosine = std::cos(kPi * cycles * frames_) / below;
        sine_[i] = static_cast<float>(sine);
        cosine_[i] = static_cast<float>(cosine);
        slope_[i] = static_cast<float>(std::cos(kPi * cycles) / below);
        most_sine_ = std::max(most_sine_, std::abs(sine));
        most_cosine_ = std::max(most_cosine_, std::abs(cosine));
    }
}

// With c the partial's own phasor, m·ω its pitch and n the hop's middle, its sum is
// c·e^{jm(ω−ω₀)n}·D(m(ω−ω₀)) in its own band and c·e^{j(mω−kω₀)n}·D(mω−kω₀) in that of partial k;
// D(x) = sin(Nx/2) / sin(x/2), Dirichlet's kernel.
void HopLeaks::remove(std::span<std::complex<double>> sums, double middle, double offset) {
    const auto count = static_cast<std::size_t>(partials_) + 1;
    const double cycles = cycles_per_frame_ * middle;
    const auto step = std::polar(1.0, 2.0 * kPi * (cycles - std::floor(cycles)));
    std::complex<double> turn = 1.0;
    for (std::size_t d = 0; d < 2 * count - 1; ++d, turn *= step) {
        turn_re_[d] = static_cast<float>(turn.real());
        turn_im_[d] = static_cast<float>(turn.imag());
    }
    double power = 0.0;
    for (std::size_t k = 0; k < count; ++k) {
        clean_[k] = sums[k];
        power += std::norm(sums[k]);
    }
    // What stands so far off its band that it hardly sounds there can't be told from the next.
    const int most = std::abs(offset) * frames_ * partials_ < kInItsBand
                         ? partials_
                         : static_cast<int>(kInItsBand / (std::abs(offset) * frames_));
    // The leaks are small, those of what was left out before are smaller.
    for (int sweep = 0; sweep < kMostSweeps; ++sweep) {
        std::fill(leak_re_.begin(), leak_re_.end(), 0.0F);
        std::fill(leak_im_.begin(), leak_im_.end(), 0.0F);
        for (int m = 0; m <= most; ++m) {
            const double own = std::norm(clean_[static_cast<std::size_t>(m)]);
            if (own > kLoudEnough * power && own * most_leaked(m, offset) > kUnheard * power)
                add_leaks(m, offset);
        }
        double change = 0.0;
        for (std::size_t k = 0; k < count; ++k) {
            const auto cleaner = sums[k] - std::complex<double>(static_cast<double>(leak_re_[k]),
                                                                static_cast<double>(leak_im_[k]));
            change += std::norm(cleaner - clean_[k]);
            clean_[k] = cleaner;
        }
        if (change < kLeft * power) break;
    }
    std::copy_n(clean_.begin(), count, sums.begin());
}

// Of partial m's power, into its neighbours, at most.
double HopLeaks::most_leaked(int m, double offset) const {
    const double sine = std::sin(std::min(0.5 * kPi, kPi * m * std::abs(offset) * frames_));
    const double most = (most_sine_ + sine * most_cosine_) / frames_;
    return most * most;
}

// Distances side by side, for the vector units.
void HopLeaks::add_leaks(int m, double offset) {
    const double half = kPi * m * offset;
    const double sine_here = std::sin(half * frames_);
    const double own = std::abs(sine_here) < 1e-6 ? frames_ : sine_here / std::sin(half);
    const std::complex<double> phasor = clean_[static_cast<std::size_t>(m)] / own;
    const auto re = static_cast<float>(phasor.real());
    const auto im = static_cast<float>(phasor.imag());
    const auto sine = static_cast<float>(sine_here);
    const auto cosine = static_cast<float>(std::cos(half * frames_));
    const auto bend = static_cast<float>(half);
    // Of a partial `d` above; below, the kernel is the same with -d. The offset is small beside d.
    const float* const sines = sine_.data();
    const float* const cosines = cosine_.data();
    const float* const slopes = slope_.data();
    const auto kernel = [=](std::size_t d, float sign) {
        return (sines[d] * cosine + sign * cosines[d] * sine) * (1.0F - sign * bend * slopes[d]);
    };
    const auto at = static_cast<std::size_t>(m);
    const auto count = static_cast<std::size_t>(partials_) + 1;
    float* const __restrict to_re = leak_re_.data();
    float* const __restrict to_im = leak_im_.data();
    const float* const turn_re = turn_re_.data();
    const float* const turn_im = turn_im_.data();
    if (m != 0)  // the mirror image
        for (std::size_t k = 0; k < count; ++k) {
            const float leak = kernel(k + at, 1.0F);
            to_re[k] += leak * (re * turn_re[k + at] - im * turn_im[k + at]);
            to_im[k] -= leak * (re * turn_im[k + at] + im * turn_re[k + at]);
        }
    for (std::size_t k = 0; k < at; ++k) {
        const std::size_t d = at - k;
        const float leak = kernel(d, 1.0F);
        to_re[k] += leak * (re * turn_re[d] - im * turn_im[d]);
        to_im[k] += leak * (re * turn_im[d] + im * turn_re[d]);
    }
    for (std::size_t k = at + 1; k < count; ++k) {
        const std::size_t d = k - at;
        const float leak = kernel(d, -1.0F);
        to_re[k] += leak * (re * turn_re[d] + im * turn_im[d]);
        to_im[k] += leak * (im * turn_re[d] - re * turn_im[d]);
    }
}

}  // namespace rankwright::listening
