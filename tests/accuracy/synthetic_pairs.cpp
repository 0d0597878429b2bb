#include "accuracy/synthetic_pairs.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <string>

namespace rankwright::testing {

namespace {

constexpr std::array<std::array<int, 2>, 8> kIntervals{
    {{1, 1}, {1, 1}, {1, 1}, {2, 1}, {3, 1}, {3, 2}, {4, 3}, {5, 4}}};

SyntheticPair draw_pair(std::mt19937_64& random) {
    const auto between = [&](double a, double b) {
        return std::uniform_real_distribution<double>(a, b)(random);
    };
    SyntheticPair pair;
    const auto& interval = kIntervals[random() % kIntervals.size()];
    pair.reference_partial = interval[0];
    pair.pipe_partial = interval[1];
    pair.reference_hz = 65.0 * std::exp2(between(0.0, interval[0] > 1 ? 2.5 : 4.5));
    const double fastest = std::min(12.0, 0.1 * pair.reference_hz / pair.pipe_partial);
    pair.beat = 0.05 * std::pow(fastest / 0.05, between(0.0, 1.0));
    if (random() % 2 == 0) pair.beat = -pair.beat;
    pair.level_db = between(-20.0, 20.0);
    pair.snr_db = between(20.0, 50.0);
    pair.seconds = 0.6 * std::pow(6.0, between(0.0, 1.0));
    return pair;
}

/// The reference known to a tenth of a cent.
listening::PairRequest request_for(const SyntheticPair& pair, double hz, std::mt19937_64& random) {
    const double sd = 0.1 * hz * std::numbers::ln2 / 1200.0;
    return {SampleRate{pair.rate}, Hertz{hz + std::normal_distribution<double>(0.0, sd)(random)},
            Hertz{sd}, pair.reference_partial, pair.pipe_partial};
}

/// Where no meeting of partials completes a quarter beat nothing is asked for.
constexpr double kLeastTurns = 0.25;

/// How often the highest meeting of partials beats in the span.
double turns(const SyntheticPair& pair) {
    const int meetings = pair.partials / std::max(pair.reference_partial, pair.pipe_partial);
    return meetings * std::abs(pair.beat) * pair.seconds;
}

std::string describe(const SyntheticPair& pair) {
    return std::to_string(pair.reference_hz) + " Hz " + std::to_string(pair.reference_partial) +
           ":" + std::to_string(pair.pipe_partial) + " " + std::to_string(pair.level_db) + " dB " +
           std::to_string(pair.seconds) + " s";
}

}  // namespace

void judge_steady(PairRow& row, int count, std::mt19937_64& random) {
    for (int i = 0; i < count; ++i) {
        const SyntheticPair pair = draw_pair(random);
        auto phases = random;  // the bound depends on the phases that are drawn next
        const PairCase truth = render(pair, random);
        const auto request = request_for(pair, pair.reference_hz, random);
        const double bound = turns(pair) < kLeastTurns
                                 ? 0.0
                                 : beat_bound(pair, request.reference_sd.value(), phases);
        row.judge(describe(pair), truth, request, bound);
    }
}

void judge_disturbed(PairRow& row, Disturbed by, int count, std::mt19937_64& random,
                     double seconds) {
    for (int i = 0; i < count; ++i) {
        SyntheticPair pair = draw_pair(random);
        pair.seconds = seconds;
        pair.wander_cents = by == Disturbed::wander ? 0.3 : 0.0;
        pair.room = by == Disturbed::room;
        if (by == Disturbed::blower) {
            pair.noise_corner_hz = 100.0;
            pair.snr_db -= 10.0;
        }
        const PairCase truth = render(pair, random);
        row.judge(describe(pair), truth, request_for(pair, truth.reference_hz, random));
    }
}

}  // namespace rankwright::testing
