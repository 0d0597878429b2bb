#include "tuning/audibility.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace rankwright::tuning {

namespace {

/// IEC 61672-1:2013, annex E: the A-weighting's response, as an amplitude; not scaled to 1 at 1
/// kHz.
double a_weight(double hz) {
    const double f2 = hz * hz;
    constexpr double kF1 = 20.6, kF2 = 107.7, kF3 = 737.9, kF4 = 12194.0;
    return kF4 * kF4 * f2 * f2 /
           ((f2 + kF1 * kF1) * std::sqrt((f2 + kF2 * kF2) * (f2 + kF3 * kF3)) * (f2 + kF4 * kF4));
}

struct Partial {
    int number;
    double power;  ///< A-weighted
};

std::vector<Partial> weighted(Hertz pitch, const listening::Partials& partials) {
    constexpr int kSupposed = 8;
    std::vector<Partial> out;
    const auto add = [&](int number, double amplitude) {
        const double weighted = amplitude * a_weight(number * pitch.value());
        out.push_back({number, weighted * weighted});
    };
    for (const listening::PartialLevel& partial : partials)
        add(partial.number, std::pow(10.0, partial.level.value() / 20.0));
    if (out.empty())
        for (int k = 1; k <= kSupposed; ++k)
            add(k, 1.0 / k);
    return out;
}

double first_beat(Hertz pitch, Cents off) {
    return std::abs((transpose(pitch, off) - pitch).value());
}

}  // namespace

double audibility(Hertz pitch, Cents off, const listening::Partials& partials) {
    constexpr double kMostHeard_hz = 4.0;
    constexpr double kLoudness = 0.3;
    const double beat = first_beat(pitch, off);
    double beating = 0.0, all = 0.0;
    for (const Partial& partial : weighted(pitch, partials)) {
        const double loudness = std::pow(partial.power, kLoudness);
        const double b = partial.number * beat;
        beating += loudness * b * b / (b * b + kMostHeard_hz * kMostHeard_hz);
        all += loudness;
    }
    return all > 0.0 ? beating / all : 0.0;
}

Hertz fastest_beat(Hertz pitch, Cents off, const listening::Partials& partials) {
    constexpr double kFaint = 0.01;  // −20 dB
    const std::vector<Partial> all = weighted(pitch, partials);
    double loudest = 0.0;
    for (const Partial& partial : all)
        loudest = std::max(loudest, partial.power);
    int highest = 1;
    for (const Partial& partial : all)
        if (partial.power > kFaint * loudest) highest = std::max(highest, partial.number);
    return Hertz{highest * first_beat(pitch, off)};
}

}  // namespace rankwright::tuning
