#include "accuracy/pair_cases.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

namespace rankwright::testing {

namespace {

constexpr double kTurn = 2.0 * std::numbers::pi;
using Complex = std::complex<double>;

/// A slow random path of unit rms: white noise through two poles of 0.5 s.
std::vector<double> slow_path(std::size_t count, double rate, std::mt19937_64& random) {
    std::normal_distribution<double> normal;
    const double pole = std::exp(-1.0 / (0.25 * rate));
    std::vector<double> path(count);
    double a = 0.0, b = 0.0;
    const auto settle = static_cast<std::ptrdiff_t>(3.0 * rate);
    for (std::ptrdiff_t n = -settle; n < static_cast<std::ptrdiff_t>(count); ++n) {
        a = pole * a + normal(random);
        b = pole * b + (1.0 - pole) * a;
        if (n >= 0) path[static_cast<std::size_t>(n)] = b;
    }
    // Stationary rms of the cascade: Σ h², h(n) = (1−p)(n+1)pⁿ.
    const double p2 = pole * pole;
    const double rms = (1.0 - pole) * std::sqrt((1.0 + p2) / std::pow(1.0 - p2, 3.0));
    for (double& x : path)
        x /= rms;
    return path;
}

/// Least-squares slope of cycles over time, in Hz.
double slope(const std::vector<double>& cycles, double rate) {
    const double middle = 0.5 * static_cast<double>(cycles.size() - 1);
    double up = 0.0, down = 0.0;
    for (std::size_t n = 0; n < cycles.size(); ++n) {
        const double t = static_cast<double>(n) - middle;
        up += t * cycles[n];
        down += t * t;
    }
    return up / down * rate;
}

void add_room(std::vector<float>& x, double rate, std::mt19937_64& random) {
    // Sparse decaying echoes, 1.6 s to −60 dB.
    std::uniform_real_distribution<double> place(0.0, 1.0);
    std::normal_distribution<double> normal;
    std::vector<float> dry = x;
    for (int e = 0; e < 400; ++e) {
        const double at = 0.005 + 1.2 * place(random);
        const double gain = 0.12 * std::exp(-6.9 * at / 1.6) * normal(random);
        const auto delay = static_cast<std::size_t>(at * rate);
        for (std::size_t n = delay; n < x.size(); ++n)
            x[n] += static_cast<float>(gain) * dry[n - delay];
    }
}

struct TonePair {
    double hz[2];
    std::vector<double> amplitude[2], phase[2];
};

TonePair draw(const SyntheticPair& p, std::mt19937_64& random) {
    std::uniform_real_distribution<double> phase(0.0, kTurn);
    TonePair tones;
    tones.hz[0] = p.reference_hz;
    tones.hz[1] = (p.reference_partial * p.reference_hz + p.beat) / p.pipe_partial;
    for (int i = 0; i < 2; ++i)
        for (int k = 1; k <= p.partials && k * tones.hz[i] < 0.45 * p.rate; ++k) {
            tones.amplitude[i].push_back((i == 0 ? 1.0 : std::pow(10.0, p.level_db / 20.0)) / k);
            tones.phase[i].push_back(phase(random));
        }
    return tones;
}

double noise_variance(const SyntheticPair& p, const TonePair& tones) {
    double power = 0.0;
    for (const double a : tones.amplitude[0])
        power += 0.5 * a * a;
    return power / std::pow(10.0, p.snr_db / 10.0);
}

}  // namespace

PairCase render(const SyntheticPair& p, std::mt19937_64& random) {
    const TonePair tones = draw(p, random);
    const double before_s = p.room ? 1.5 : 0.0;  // the room has filled when hearing begins
    const auto before = static_cast<std::size_t>(before_s * p.rate);
    const auto count = static_cast<std::size_t>(std::llround(p.seconds * p.rate));
    PairCase result;
    result.rate = p.rate;
    result.samples.assign(before + count, 0.0F);
    double means[2];
    for (int i = 0; i < 2; ++i) {
        std::vector<double> cycles(before + count);
        std::vector<double> path;
        if (p.wander_cents > 0.0) path = slow_path(cycles.size(), p.rate, random);
        double at = 0.0;
        for (std::size_t n = 0; n < cycles.size(); ++n) {
            cycles[n] = at;
            const double cents = path.empty() ? 0.0 : p.wander_cents * path[n];
            at += tones.hz[i] * std::exp2(cents / 1200.0) / p.rate;
            double x = 0.0;
            for (std::size_t k = 0; k < tones.amplitude[i].size(); ++k) {
                const double turns = static_cast<double>(k + 1) * cycles[n];
                x += tones.amplitude[i][k] *
                     std::cos(kTurn * (turns - std::floor(turns)) + tones.phase[i][k]);
            }
            result.samples[n] += static_cast<float>(0.1 * x);
        }
        cycles.erase(cycles.begin(), cycles.begin() + static_cast<std::ptrdiff_t>(before));
        means[i] = slope(cycles, p.rate);
    }
    if (p.room) add_room(result.samples, p.rate, random);
    result.samples.erase(result.samples.begin(),
                         result.samples.begin() + static_cast<std::ptrdiff_t>(before));
    const double sd = 0.1 * std::sqrt(noise_variance(p, tones));
    const double pole =
        p.noise_corner_hz > 0.0 ? std::exp(-kTurn * p.noise_corner_hz / p.rate) : 0.0;
    std::normal_distribution<double> normal(0.0, sd * std::sqrt(1.0 - pole * pole));
    double state = 0.0;
    for (float& x : result.samples) {
        state = pole * state + normal(random);
        x += static_cast<float>(state);
    }
    result.reference_hz = means[0];
    result.pipe_hz = means[1];
    result.beat = p.pipe_partial * means[1] - p.reference_partial * means[0];
    return result;
}

double beat_bound(const SyntheticPair& p, double reference_sd, std::mt19937_64& random) {
    const TonePair tones = draw(p, random);
    double highest = 0.0;
    for (int i = 0; i < 2; ++i)
        highest = std::max(highest, tones.hz[i] * static_cast<double>(tones.amplitude[i].size()));
    // A lower rate with the same noise density carries the same information.
    const double thin = std::max(1.0, std::floor(p.rate / (2.5 * highest)));
    const double rate = p.rate / thin;
    const double variance = noise_variance(p, tones) / thin;
    const auto count = static_cast<std::size_t>(std::llround(p.seconds * rate));
    std::vector<std::vector<double>> columns;
    std::vector<std::vector<double>> derivative(2, std::vector<double>(count, 0.0));
    for (int i = 0; i < 2; ++i)
        for (std::size_t k = 0; k < tones.amplitude[i].size(); ++k) {
            std::vector<double> c(count), s(count);
            for (std::size_t n = 0; n < count; ++n) {
                const double t =
                    (static_cast<double>(n) - 0.5 * static_cast<double>(count - 1)) / rate;
                const double w = kTurn * static_cast<double>(k + 1);
                const double at = w * tones.hz[i] * t;
                c[n] = std::cos(at);
                s[n] = std::sin(at);
                derivative[static_cast<std::size_t>(i)][n] -=
                    tones.amplitude[i][k] * w * t * std::sin(at + tones.phase[i][k]);
            }
            columns.push_back(std::move(c));
            columns.push_back(std::move(s));
        }
    const auto dot = [count](const std::vector<double>& a, const std::vector<double>& b) {
        double sum = 0.0;
        for (std::size_t n = 0; n < count; ++n)
            sum += a[n] * b[n];
        return sum;
    };
    // Orthonormal columns (Gram–Schmidt, twice), then what of the derivatives they leave.
    const auto project = [&](std::vector<double>& x, std::size_t upto) {
        for (int again = 0; again < 2; ++again)
            for (std::size_t j = 0; j < upto; ++j) {
                const double d = dot(columns[j], x);
                for (std::size_t n = 0; n < count; ++n)
                    x[n] -= d * columns[j][n];
            }
    };
    for (std::size_t j = 0; j < columns.size(); ++j) {
        project(columns[j], j);
        const double size = std::sqrt(dot(columns[j], columns[j]));
        for (double& x : columns[j])
            x /= size;
    }
    for (auto& d : derivative)
        project(d, columns.size());
    const double a = dot(derivative[0], derivative[0]) / variance +
                     (reference_sd > 0.0 ? 1.0 / (reference_sd * reference_sd) : 0.0);
    const double b = dot(derivative[0], derivative[1]) / variance;
    const double d = dot(derivative[1], derivative[1]) / variance;
    const double m = p.reference_partial, n = p.pipe_partial;
    return std::sqrt((m * m * d + n * n * a + 2.0 * m * n * b) / (a * d - b * b));
}

std::vector<float> resampled(std::span<const float> samples, double ratio) {
    constexpr int kHalf = 48;
    // Sharpened content must stay under the Nyquist frequency.
    const double cutoff = std::min(1.0, 1.0 / ratio);
    const auto count =
        static_cast<std::size_t>(static_cast<double>(samples.size() - 2 * kHalf) / ratio);
    std::vector<float> out(count);
    // The windowed sinc on a fine grid, straight between its points (error under 1e-6).
    constexpr int kPhases = 2048;
    std::vector<double> table(static_cast<std::size_t>(kHalf * kPhases + 2));
    for (std::size_t i = 0; i < table.size(); ++i) {
        const double d = static_cast<double>(i) / kPhases;
        const double x = std::numbers::pi * cutoff * d;
        const double u = std::min(1.0, d / kHalf);  // Blackman's window
        table[i] = cutoff * (i == 0 ? 1.0 : std::sin(x) / x) *
                   (0.42 + 0.5 * std::cos(std::numbers::pi * u) +
                    0.08 * std::cos(2.0 * std::numbers::pi * u));
    }
    for (std::size_t n = 0; n < count; ++n) {
        const double at = kHalf + static_cast<double>(n) * ratio;
        const auto near = static_cast<std::ptrdiff_t>(at);
        double sum = 0.0;
        for (std::ptrdiff_t i = near - kHalf + 1; i <= near + kHalf; ++i) {
            const double d = std::abs(at - static_cast<double>(i)) * kPhases;
            const auto whole = static_cast<std::size_t>(d);
            const double part = d - static_cast<double>(whole);
            sum += static_cast<double>(samples[static_cast<std::size_t>(i)]) *
                   (table[whole] + part * (table[whole + 1] - table[whole]));
        }
        out[n] = static_cast<float>(sum);
    }
    return out;
}

}  // namespace rankwright::testing
