// Cases of a reference and a pipe sounding together, made here and recorded, with what is true of
// them found by other means than the product's.
#pragma once

#include <cstdint>
#include <random>
#include <span>
#include <vector>

namespace rankwright::testing {

/// Two steady or wandering tones in noise.
struct SyntheticPair {
    double rate = 48000.0;
    double reference_hz = 262.0;
    int reference_partial = 1;
    int pipe_partial = 1;
    double beat = 0.5;      ///< at the first meeting
    double level_db = 0.0;  ///< of the pipe over the reference
    double seconds = 2.4;
    double snr_db = 40.0;        ///< the reference's power over the noise in the whole band
    int partials = 8;            ///< of amplitude 1/k
    double wander_cents = 0.0;   ///< rms of each one's pitch
    double noise_corner_hz = 0;  ///< 0: white; otherwise falling by 6 dB an octave above this
    bool room = false;           ///< a reverberant room
};

/// A case ready to be heard.
struct PairCase {
    std::vector<float> samples;
    double rate = 48000.0;
    double reference_hz = 0.0;  ///< true mean over the span
    double pipe_hz = 0.0;       ///< true mean over the span
    double beat = 0.0;          ///< from both
};

PairCase render(const SyntheticPair& pair, std::mt19937_64& random);

/// Lowest standard deviation of any unbiased estimate of the beat (Hz) for a synthetic pair without
/// wander in white noise: the Cramér–Rao bound, amplitudes and phases unknown and drawn as `random`
/// says, the reference known beforehand to `reference_sd`. Exact Fisher information.
double beat_bound(const SyntheticPair& pair, double reference_sd, std::mt19937_64& random);

/// `samples` played faster by `ratio` (so sharper): read at ratio·n with a windowed sinc.
std::vector<float> resampled(std::span<const float> samples, double ratio);

}  // namespace rankwright::testing
