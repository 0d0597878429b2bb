// Sound for tests of the live ear, made sample by sample here and nowhere else: pipes of exactly
// known pitch with speech and reverberation, and everything that disturbs them.
#pragma once

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <numbers>
#include <random>
#include <span>
#include <string>
#include <vector>

namespace rankwright::test {

/// Amplitude of each partial, the fundamental first.
using Timbre = std::vector<double>;

inline Timbre falling_timbre(int partials, double power = 1.0) {
    Timbre t;
    for (int k = 1; k <= partials; ++k)
        t.push_back(std::pow(k, -power));
    return t;
}
inline Timbre sine_timbre() { return {1.0}; }
/// Odd partials, even ones 45 dB down.
inline Timbre stopped_timbre() {
    Timbre t;
    for (int k = 1; k <= 9; ++k)
        t.push_back((k % 2 == 1 ? 1.0 : 0.0056) * std::pow(k, -1.3));
    return t;
}
/// Flat to the 8th partial, then falling, 40 in all.
inline Timbre reed_timbre() {
    Timbre t;
    for (int k = 1; k <= 40; ++k)
        t.push_back(k <= 8 ? 0.8 + 0.2 * std::cos(k) : 8.0 / k);
    return t;
}
/// Partials 2 to 4 louder than the first.
inline Timbre string_timbre() {
    Timbre t{0.45, 0.9, 1.0, 0.8, 0.5};
    for (int k = 6; k <= 16; ++k)
        t.push_back(1.5 / k);
    return t;
}
/// What a small microphone leaves of a deep pipe: partials below `first` are gone.
inline Timbre without_bass(Timbre t, int first) {
    for (int k = 1; k < first && k <= static_cast<int>(t.size()); ++k)
        t[static_cast<std::size_t>(k - 1)] = 0.0;
    return t;
}

struct Tone {
    double hz = 261.6;
    Timbre timbre = falling_timbre(8);
    double level = 0.1;                        ///< root of the harmonic power: rms × √2
    double from_s = 0.0;                       ///< valve opens
    double to_s = 1e9;                         ///< valve closes
    double attack_s = 0.04;                    ///< level rises as 1 - exp(-5 t / attack)
    double decay_s = 0.05;                     ///< reverberation: time for 60 dB
    std::function<double(double)> cents = {};  ///< deviation at time t; empty: none
    std::function<double(double)> gain = {};   ///< extra gain at time t; empty: 1
    std::uint64_t phase_seed = 1;
};

class Scene {
  public:
    Scene(double rate, double seconds, std::uint64_t seed = 1)
        : rate_(rate), samples_(static_cast<std::size_t>(rate * seconds), 0.0), random_(seed) {}

    double rate() const { return rate_; }
    double seconds() const { return static_cast<double>(samples_.size()) / rate_; }

    Scene& add(const Tone& tone) {
        std::mt19937_64 phases(tone.phase_seed);
        std::uniform_real_distribution<double> turn(0.0, 2.0 * std::numbers::pi);
        std::vector<std::complex<double>> partials;
        double power = 0.0;
        for (const double a : tone.timbre)
            power += a * a;
        for (const double a : tone.timbre)
            partials.push_back(std::polar(a * tone.level / std::sqrt(power), turn(phases)));
        double phase = 0.0;
        const double decay = std::log(1000.0) / tone.decay_s;
        for (std::size_t i = 0; i < samples_.size(); ++i) {
            const double t = static_cast<double>(i) / rate_;
            const double c = tone.cents ? tone.cents(t) : 0.0;
            const double hz = tone.hz * std::exp2(c / 1200.0);
            phase = std::fmod(phase + 2.0 * std::numbers::pi * hz / rate_, 2.0 * std::numbers::pi);
            if (t < tone.from_s || t > tone.to_s + 1.5 * tone.decay_s) continue;
            double envelope = 1.0 - std::exp(-5.0 * (t - tone.from_s) / tone.attack_s);
            if (t > tone.to_s) envelope *= std::exp(-decay * (t - tone.to_s));
            if (tone.gain) envelope *= tone.gain(t);
            const std::complex<double> step = std::polar(1.0, phase);
            std::complex<double> turned = step;
            double sum = 0.0;
            for (std::size_t k = 0; k < partials.size(); ++k, turned *= step) {
                if (static_cast<double>(k + 1) * hz > 0.48 * rate_) break;
                sum += partials[k].real() * turned.real() - partials[k].imag() * turned.imag();
            }
            samples_[i] += envelope * sum;
        }
        return *this;
    }

    /// White noise whose power in the band to 24 kHz lies `db` under that of a tone of `level`.
    Scene& add_white(double level, double snr_db) {
        const double sd_at_48k = level / std::numbers::sqrt2 * std::pow(10.0, -snr_db / 20.0);
        std::normal_distribution<double> normal(0.0, sd_at_48k * std::sqrt(rate_ / 48000.0));
        for (double& x : samples_)
            x += normal(random_);
        return *this;
    }

    /// Blower rumble: noise that falls 12 dB an octave above `corner_hz`.
    Scene& add_rumble(double rms, double corner_hz = 60.0) {
        std::normal_distribution<double> normal;
        const double a = std::exp(-2.0 * std::numbers::pi * corner_hz / rate_);
        double y1 = 0.0;
        double y2 = 0.0;
        std::vector<double> rumble(samples_.size());
        double power = 0.0;
        for (double& x : rumble) {
            y1 = a * y1 + (1.0 - a) * normal(random_);
            y2 = a * y2 + (1.0 - a) * y1;
            x = y2;
            power += x * x;
        }
        const double scale = rms / std::sqrt(power / static_cast<double>(rumble.size()));
        for (std::size_t i = 0; i < rumble.size(); ++i)
            samples_[i] += scale * rumble[i];
        return *this;
    }

    /// Mains hum: odd multiples stronger, as rectifiers and transformers make it.
    Scene& add_hum(double mains_hz, double level) {
        Tone hum;
        hum.hz = mains_hz;
        hum.timbre = {0.7, 1.0, 0.5, 0.4, 0.3, 0.35, 0.1, 0.2, 0.05, 0.1};
        hum.level = level;
        hum.from_s = -1.0;
        return add(hum);
    }

    /// A wooden knock: three damped modes.
    Scene& add_knock(double at_s, double peak) {
        std::uniform_real_distribution<double> spread(0.8, 1.25);
        for (const double mode : {140.0, 330.0, 910.0}) {
            const double hz = mode * spread(random_);
            const double decay = 25.0 * std::sqrt(mode / 140.0);
            for (auto i = frame(at_s); i < frame(at_s + 0.4) && i < samples_.size(); ++i) {
                const double t = static_cast<double>(i) / rate_ - at_s;
                samples_[i] +=
                    peak / 2.0 * std::exp(-decay * t) * std::sin(2.0 * std::numbers::pi * hz * t);
            }
        }
        return *this;
    }

    /// A voice saying a word of two vowels: a gliding glottal pulse train through formants, with
    /// breath noise and a hissed end.
    Scene& add_voice(double at_s, double length_s, double rms, double pitch_hz = 125.0) {
        const std::size_t from = frame(at_s);
        const std::size_t count = std::min(frame(length_s), samples_.size() - from);
        std::vector<double> voice(count, 0.0);
        struct Formant {
            double hz[2];
            double band;
        };
        std::normal_distribution<double> normal;
        for (const Formant& f : {Formant{{550.0, 450.0}, 80.0}, Formant{{1800.0, 1300.0}, 120.0},
                                 Formant{{2500.0, 2400.0}, 180.0}}) {
            double y1 = 0.0;
            double y2 = 0.0;
            double phase = 0.0;
            for (std::size_t i = 0; i < count; ++i) {
                const double part = static_cast<double>(i) / static_cast<double>(count);
                const double glide =
                    pitch_hz * (1.12 - 0.3 * part + 0.02 * std::sin(31.0 * part + f.hz[0]));
                phase += glide / rate_;
                double source = 0.02 * normal(random_);
                if (phase >= 1.0) {
                    phase -= 1.0;
                    source += 1.0;
                }
                if (part > 0.75) source = 0.3 * normal(random_);
                const double hz = f.hz[0] + (f.hz[1] - f.hz[0]) * part;
                const double r = std::exp(-std::numbers::pi * f.band / rate_);
                const double y = source +
                                 2.0 * r * std::cos(2.0 * std::numbers::pi * hz / rate_) * y1 -
                                 r * r * y2;
                y2 = y1;
                y1 = y;
                voice[i] += y * std::sin(std::numbers::pi * std::min(1.0, 1.05 * part));
            }
        }
        double power = 0.0;
        for (const double x : voice)
            power += x * x;
        const double scale = rms / std::sqrt(power / static_cast<double>(count));
        for (std::size_t i = 0; i < count; ++i)
            samples_[from + i] += scale * voice[i];
        return *this;
    }

    /// The converter's limit, with `gain` before it.
    Scene& clip(double gain) {
        for (double& x : samples_)
            x = std::clamp(gain * x, -1.0, 1.0);
        return *this;
    }

    std::vector<float> floats() const { return {samples_.begin(), samples_.end()}; }
    std::vector<double>& samples() { return samples_; }
    std::mt19937_64& random() { return random_; }

  private:
    std::size_t frame(double s) const { return static_cast<std::size_t>(std::max(0.0, s) * rate_); }

    double rate_;
    std::vector<double> samples_;
    std::mt19937_64 random_;
};

/// Slow wander of a pipe's pitch, in cents: a few slow random cosines of the given standard
/// deviation, the slower the stronger.
inline std::function<double(double)> wander(double sd_cents, std::uint64_t seed,
                                            double fastest_hz = 3.0) {
    std::mt19937_64 random(seed);
    std::uniform_real_distribution<double> turn(0.0, 2.0 * std::numbers::pi);
    struct Wave {
        double hz, phase, size;
    };
    std::vector<Wave> waves;
    double power = 0.0;
    for (double hz = 0.15; hz <= fastest_hz; hz *= 1.5) {
        waves.push_back({hz * (0.8 + 0.06 * turn(random)), turn(random), 1.0 / std::sqrt(hz)});
        power += 0.5 * waves.back().size * waves.back().size;
    }
    for (Wave& w : waves)
        w.size *= sd_cents / std::sqrt(power);
    return [waves](double t) {
        double sum = 0.0;
        for (const Wave& w : waves)
            sum += w.size * std::sin(2.0 * std::numbers::pi * w.hz * t + w.phase);
        return sum;
    };
}

}  // namespace rankwright::test
