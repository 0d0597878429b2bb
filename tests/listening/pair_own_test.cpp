// What the partials that only one of two pipes has tell. Truth is what the scenes were made with.
#include "listening/pair/pair.h"
#include "support/scene.h"

#include <cmath>
#include <numbers>
#include <optional>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace pair_own_test {

using test::Scene;
using test::Tone;

constexpr SampleRate kRate{48000.0};
constexpr double kLength_s = 4.0;

struct Interval {
    int reference_partial, pipe_partial;
};

/// A tone that wanders by a third of a cent and whose loudness isn't quite steady.
Tone unsteady(double hz, unsigned seed) {
    const double at = 0.7 * seed;
    Tone tone{.hz = hz, .timbre = test::string_timbre(), .from_s = -1.0, .phase_seed = seed};
    tone.cents = [at](double t) {
        return 0.3 * std::sin(2.0 * std::numbers::pi * 0.43 * t + at) +
               0.2 * std::sin(2.0 * std::numbers::pi * 1.9 * t + 3.0 * at) +
               0.1 * std::sin(2.0 * std::numbers::pi * 4.7 * t + 5.0 * at);
    };
    tone.gain = [at](double t) {
        return 1.0 + 0.03 * std::sin(2.0 * std::numbers::pi * 0.6 * t + 2.0 * at) +
               0.02 * std::sin(2.0 * std::numbers::pi * 2.7 * t + at);
    };
    return tone;
}

double sharp(double hz, double cents) { return hz * std::exp2(cents / 1200.0); }

std::optional<BeatReading> heard(const Scene& scene, double number_hz, Interval interval) {
    const std::vector<float> sound = scene.floats();
    return measure_pair(sound, {kRate, Hertz{number_hz}, Hertz{0.005}, interval.reference_partial,
                                interval.pipe_partial});
}

// One pipe's unrest passed for the other: three of these were read as beats.
TEST(PairOwn, OneOfAnIntervalAloneDoesntBeat) {
    int values = 0, cases = 0;
    for (const Interval interval : {Interval{3, 2}, Interval{5, 4}, Interval{3, 1}})
        for (const bool pipe_alone : {false, true}) {
            // A pipe that is a whole number of times as high leaves its reference nothing to lack.
            if (!pipe_alone && interval.pipe_partial == 1) continue;
            for (unsigned seed = 1; seed <= 4; ++seed) {
                const double reference = 240.0 + 130.0 * seed;
                const double pipe = reference * interval.reference_partial / interval.pipe_partial;
                Scene scene(kRate.value(), kLength_s, seed);
                scene.add(unsteady(pipe_alone ? pipe + 0.3 : reference, seed));
                scene.add_white(0.1, 50.0);
                const auto reading =
                    heard(scene, sharp(reference, seed % 2 == 0 ? 2.0 : 0.0), interval);
                ++cases;
                if (reading && !reading->under) ++values;
            }
        }
    EXPECT_EQ(cases, 20);
    EXPECT_EQ(values, 0);
}

// With the number two cents off a beat was read as flat instead of sharp, others 0.03 a second off.
TEST(PairOwn, ANumberGivesWayToWhatTheReferenceSounds) {
    for (const Interval interval : {Interval{2, 1}, Interval{3, 1}, Interval{3, 2}})
        for (const unsigned seed : {1U, 2U, 3U}) {
            const double reference = 130.0 + 60.0 * seed;
            const double beat = 0.6;
            const double pipe =
                (interval.reference_partial * reference + beat) / interval.pipe_partial;
            Scene scene(kRate.value(), kLength_s, seed);
            scene.add({.hz = reference, .from_s = -1.0, .phase_seed = seed});
            scene.add({.hz = pipe, .from_s = -1.0, .phase_seed = seed + 10});
            scene.add_white(0.1, 50.0);
            for (const double off : {0.0, 2.0, -2.0}) {
                const auto reading = heard(scene, sharp(reference, off), interval);
                ASSERT_TRUE(reading) << off << " " << interval.reference_partial;
                EXPECT_FALSE(reading->under) << off << " " << interval.reference_partial;
                EXPECT_NEAR(reading->beat.value(), beat, 0.01);
                EXPECT_NEAR(reading->reference.value(), reference, 0.01);
            }
        }
}

// What only wanders is no contradiction, and a pipe below its reference leaves that nothing of its
// own: the number stands.
TEST(PairOwn, ANumberStandsWhereNothingOfTheReferencesOwnIsHeard) {
    Scene scene(kRate.value(), kLength_s, 3);
    scene.add({.hz = 400.0, .from_s = -1.0});
    scene.add({.hz = 200.25, .from_s = -1.0, .phase_seed = 2});
    scene.add_white(0.1, 50.0);
    const auto reading = heard(scene, 400.0, {1, 2});
    ASSERT_TRUE(reading);
    EXPECT_NEAR(reading->beat.value(), 0.5, 0.01);
}

}  // namespace pair_own_test
}  // namespace rankwright::listening
