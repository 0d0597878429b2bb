#include "simulator/voicing.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::simulator {

namespace {

using organ::PipeKind;

constexpr int kMostPartials = 120;
constexpr double kFaintest_db = -100.0;  // partials below this beside the first aren't rendered

double amplitude(double db) { return std::pow(10.0, db / 20.0); }

/// What the partials of one pipe are drawn from.
struct Timbre {
    double octave;  ///< octaves above middle C
    double pitch_hz;
    double second_db;  ///< of the second partial (third if stopped) beside the first
    double slope_db;   ///< a partial
    double even_db;    ///< how far the even partials of a stopped pipe lie under the odd
    double flat_to;    ///< reeds: level up to this partial
};

// Open pipes: the second 0 to 20 dB under the first, then about 6 dB a partial; fewer in the
// treble.
double open_level(const Timbre& t, int k) {
    const double fall = t.slope_db * std::clamp(1.0 + 0.25 * t.octave, 0.6, 2.0);
    const double past = std::max(0, k - 8);  // the far partials fall more slowly
    return k == 1 ? 0.0 : -t.second_db - fall * (k - 2 - past) - 0.5 * fall * past;
}

// Even partials 25 to 60 dB down; a chimney lifts the fifth.
double stopped_level(const Timbre& t, PipeKind kind, int k) {
    const int odd = k % 2 == 1 ? k : k - 1;
    double level = odd == 1 ? 0.0 : -t.second_db - t.slope_db * (odd - 3) / 2.0;
    if (kind == PipeKind::chimney && odd >= 5) level += 9.0;
    return k % 2 == 1 ? level : std::min(level, 0.0) - t.even_db;
}

double reed_level(const Timbre& t, PipeKind kind, int k) {
    double level = k <= t.flat_to ? 0.0 : -t.slope_db * (k - t.flat_to);
    if (kind == PipeKind::reed_half && k % 2 == 0) level -= 8.0;
    if (kind == PipeKind::reed_short) {  // a short tube: weak below, a hump about 1.2 kHz
        const double away = std::log2(k * t.pitch_hz / 1200.0);
        level += 8.0 * std::exp(-away * away) - 10.0 * std::exp(-0.5 * (k - 1));
    }
    return level;
}

Timbre timbre(PipeKind kind, double pitch_hz, Random& random) {
    Timbre t{std::log2(pitch_hz / 261.6), pitch_hz, 0, 6.0, 0, 0};
    switch (kind) {
        case PipeKind::open:
            t.second_db = random.uniform(1.0, 10.0) + std::max(0.0, 3.0 * t.octave);
            t.slope_db = random.uniform(5.0, 7.0);
            break;
        case PipeKind::tapered:
            t.second_db = random.uniform(6.0, 14.0) + std::max(0.0, 3.0 * t.octave);
            t.slope_db = random.uniform(6.0, 8.0);
            break;
        case PipeKind::harmonic:
            t.second_db = random.uniform(10.0, 20.0) + std::max(0.0, 2.0 * t.octave);
            t.slope_db = random.uniform(7.0, 10.0);
            break;
        case PipeKind::string:
            t.second_db = random.uniform(-6.0, 6.0);
            t.slope_db = random.uniform(2.5, 4.0);
            break;
        case PipeKind::stopped:
        case PipeKind::chimney:
            t.second_db = random.uniform(14.0, 26.0) + std::max(0.0, 3.0 * t.octave);
            t.slope_db = random.uniform(9.0, 14.0);
            t.even_db = random.uniform(25.0, 45.0);
            break;
        default:
            t.flat_to = std::clamp(2400.0 / pitch_hz, 2.0, 12.0) * random.uniform(0.8, 1.2);
            t.slope_db = random.uniform(1.4, 2.2) * std::clamp(pitch_hz / 200.0, 1.0, 4.0);
            break;
    }
    return t;
}

double level_of(const Timbre& t, PipeKind kind, int k) {
    if (kind >= PipeKind::reed_full) return reed_level(t, kind, k);
    if (kind == PipeKind::stopped || kind == PipeKind::chimney) return stopped_level(t, kind, k);
    return open_level(t, k);
}

/// RMS at a laptop's microphone in the chamber, full scale = 0 dB: a principal about −32, falling
/// upward; below 60 Hz such microphones hear little, and the chamber's mixing does the rest.
double loudness_db(PipeKind kind, double octave) {
    double level = -32.0 - 2.5 * std::max(octave, -3.0);
    if (kind == PipeKind::string) level -= 5.0;
    if (kind == PipeKind::stopped || kind == PipeKind::chimney) level -= 2.0;
    if (kind >= PipeKind::reed_full) level += 9.0;
    return std::min(level, kind >= PipeKind::reed_full ? -18.0 : -27.0);
}

void set_speech(Voicing& v, PipeKind kind, double pitch_hz, Random& random) {
    const bool reed = kind >= PipeKind::reed_full;
    const double pace = std::pow(261.6 / pitch_hz, 0.6);
    v.rise_s = std::clamp(0.055 * pace * random.uniform(0.8, 1.25), 0.025, 0.38);
    if (kind == PipeKind::string) v.rise_s *= 1.4;
    if (reed) v.rise_s *= 0.5;
    v.release_s = std::clamp(0.02 * pace, 0.006, 0.12);
    v.glide_cents = reed ? random.uniform(-6.0, 12.0) : random.uniform(-25.0, 10.0);
    v.glide_s = v.rise_s * (reed ? 0.8 : 0.5);
}

}  // namespace

Voicing voicing(const organ::Pipe& pipe, Hertz pitch, Random& random) {
    const PipeKind kind = pipe.make.kind;
    const bool reed = pipe.make.reed();
    const Timbre t = timbre(kind, pitch.value(), random);
    Voicing v;
    double power = 0.0;
    for (int k = 1; k <= kMostPartials; ++k) {
        const double uneven = k == 1 ? 0.0 : std::clamp(2.5 * random.normal(), -6.0, 6.0);
        const double db = level_of(t, kind, k) + uneven;
        // A reed's puffs of air keep the partials nearly in step, a flue's jet doesn't.
        const double spread = reed ? 0.6 : std::numbers::pi;
        v.partials.push_back({db < kFaintest_db ? 0.0 : amplitude(db),
                              random.uniform(-spread, spread), 1.0 + std::min(0.08 * k, 0.8)});
        power += 0.5 * v.partials.back().level * v.partials.back().level;
    }
    const double rms = amplitude(loudness_db(kind, t.octave) + random.uniform(-2.5, 2.5));
    for (Voicing::Partial& partial : v.partials)
        partial.level *= rms / std::sqrt(power);
    while (v.partials.size() > 1 && v.partials.back().level <= 0.0)
        v.partials.pop_back();

    set_speech(v, kind, pitch.value(), random);
    v.breath = rms * amplitude(reed ? -42.0 : random.uniform(-36.0, -28.0));
    v.chiff = reed ? 0.0 : rms * amplitude(random.uniform(-24.0, -12.0));
    v.wandering = reed ? 0.25 : 1.0;  // recorded trumpets: 0.01 to 0.05 cent in 120 ms windows
    v.stopped = kind == PipeKind::stopped || kind == PipeKind::chimney;
    v.stretch = random.uniform(1.004, 1.02);
    return v;
}

}  // namespace rankwright::simulator
