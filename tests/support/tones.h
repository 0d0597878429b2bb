// Test signals of exactly known pitch. Shares nothing with src: neither the simulator's code nor
// the estimator's.
#pragma once

#include <cmath>
#include <complex>
#include <cstdint>
#include <numbers>
#include <random>
#include <vector>

namespace rankwright::testing {

/// A steady harmonic tone in noise.
struct Tone {
    double hz = 440.0;
    double rate = 48000.0;
    double seconds = 1.0;
    std::vector<double> amplitudes;  ///< of the partials 1, 2, …
    std::vector<double> phases;      ///< radians, of the cosines at frame 0
};

/// Partials 1 to `partials` with amplitude `level`/k, those above 0.45 of the rate left out, each
/// with a random phase.
inline Tone sawtooth_like(double hz, double rate, double seconds, int partials, double level,
                          std::mt19937_64& random) {
    std::uniform_real_distribution<double> phase(0.0, 2.0 * std::numbers::pi);
    Tone tone{hz, rate, seconds, {}, {}};
    for (int k = 1; k <= partials && k * hz < 0.45 * rate; ++k) {
        tone.amplitudes.push_back(level / k);
        tone.phases.push_back(phase(random));
    }
    return tone;
}

/// Total power of the partials.
inline double power(const Tone& tone) {
    double sum = 0.0;
    for (const double a : tone.amplitudes)
        sum += 0.5 * a * a;
    return sum;
}

inline std::size_t frames(const Tone& tone) {
    return static_cast<std::size_t>(std::llround(tone.seconds * tone.rate));
}

/// The tone with its fundamental's phase 2π∫f given frame by frame, in cycles.
inline std::vector<float> render(const Tone& tone, const std::vector<double>& cycles) {
    std::vector<float> samples(cycles.size());
    const double turn = 2.0 * std::numbers::pi;
    for (std::size_t n = 0; n < cycles.size(); ++n) {
        double sum = 0.0;
        for (std::size_t k = 0; k < tone.amplitudes.size(); ++k) {
            const double at = static_cast<double>(k + 1) * cycles[n];
            sum += tone.amplitudes[k] * std::cos(turn * (at - std::floor(at)) + tone.phases[k]);
        }
        samples[n] = static_cast<float>(sum);
    }
    return samples;
}

inline std::vector<float> render(const Tone& tone) {
    std::vector<double> sum(frames(tone));
    const double turn = 2.0 * std::numbers::pi * tone.hz / tone.rate;
    for (std::size_t k = 0; k < tone.amplitudes.size(); ++k) {
        const std::complex<double> step = std::polar(1.0, turn * static_cast<double>(k + 1));
        std::complex<double> phasor = std::polar(tone.amplitudes[k], tone.phases[k]);
        for (double& x : sum) {
            x += phasor.real();
            phasor *= step;
        }
    }
    return {sum.begin(), sum.end()};
}

/// A pitch that wanders slowly: cents from the tone's pitch frame by frame, with this standard
/// deviation and correlation over about `seconds` (white noise through two equal poles).
inline std::vector<double> wander(const Tone& tone, double cents_sd, double seconds,
                                  std::mt19937_64& random) {
    const double pole = std::exp(-1.0 / (seconds * tone.rate));
    // Two equal poles p turn unit white noise into variance (1 + p²) / (1 − p²)³.
    const double gain = std::sqrt((1.0 - pole * pole) * (1.0 - pole * pole) * (1.0 - pole * pole) /
                                  (1.0 + pole * pole));
    std::normal_distribution<double> normal(0.0, cents_sd * gain);
    double one = 0.0;
    double two = 0.0;
    const auto settle = static_cast<std::size_t>(10.0 * seconds * tone.rate);
    std::vector<double> path(frames(tone));
    for (std::size_t n = 0; n < settle + path.size(); ++n) {
        one = pole * one + normal(random);
        two = pole * two + one;
        if (n >= settle) path[n - settle] = two;
    }
    return path;
}

/// The fundamental's phase in cycles for a pitch that departs by `cents` from the tone's.
inline std::vector<double> cycles_of(const Tone& tone, const std::vector<double>& cents) {
    std::vector<double> cycles(cents.size());
    double sum = 0.0;
    for (std::size_t n = 0; n < cents.size(); ++n) {
        cycles[n] = sum;
        sum += tone.hz * std::exp2(cents[n] / 1200.0) / tone.rate;
    }
    return cycles;
}

/// Adds white Gaussian noise of this variance.
inline void add_white(std::vector<float>& samples, double variance, std::mt19937_64& random) {
    std::normal_distribution<double> normal(0.0, std::sqrt(variance));
    for (float& x : samples)
        x += static_cast<float>(normal(random));
}

/// Noise of this variance whose power falls by 6 dB an octave above `corner_hz` (wind, blower,
/// traffic): white noise through one pole.
inline void add_coloured(std::vector<float>& samples, double rate, double variance,
                         double corner_hz, std::mt19937_64& random) {
    const double pole = std::exp(-2.0 * std::numbers::pi * corner_hz / rate);
    std::normal_distribution<double> normal(0.0, std::sqrt(variance * (1.0 - pole * pole)));
    double state = normal(random) / std::sqrt(1.0 - pole * pole);
    for (float& x : samples) {
        x += static_cast<float>(state);
        state = pole * state + normal(random);
    }
}

inline double cents(double from, double to) { return 1200.0 * std::log2(to / from); }

}  // namespace rankwright::testing
