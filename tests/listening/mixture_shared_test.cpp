// A pipe behind a lower one's partials: the sound is made by a simulator of its own
// (tests/support/scene.h), the truth is what was put in.
#include "listening/mixture/mixture.h"
#include "support/scene.h"

#include <cmath>
#include <optional>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace mixture_shared_test {

constexpr double kUnison = 130.0;

/// A key of 2 and 4, its lower pipe 2 cents sharp at `level`, the other, if it sounds, 0.12 less.
std::optional<MixtureReading> hear(double level, bool other) {
    test::Scene scene(48000.0, 2.4, 5);
    const auto add = [&](double ratio, double loud, double off, unsigned seed) {
        const auto wander = test::wander(0.05, seed);
        scene.add(test::Tone{.hz = ratio * kUnison,
                             .level = loud,
                             .from_s = -1.0,
                             .cents = [=](double t) { return off + wander(t); },
                             .phase_seed = seed});
    };
    add(2.0, level, 2.0, 3);
    if (other) add(4.0, 0.1, 1.88, 4);
    scene.add_white(0.1, 50.0);
    return measure_mixture(scene.floats(), {.rate = SampleRate{48000.0},
                                            .unison = Hertz{kUnison},
                                            .pipes = {{2, 1}, {4, 1}},
                                            .reference = {}});
}

TEST(MixtureShared, ALoudPipeBehindALeaksPartialIsHeard) {
    const auto reading = hear(0.003, true);
    ASSERT_TRUE(reading);
    EXPECT_EQ(reading->pipes[0].presence, Presence::sounding);
    ASSERT_EQ(reading->pipes[1].presence, Presence::sounding);
    ASSERT_TRUE(reading->pipes[1].cents);
    EXPECT_NEAR(reading->pipes[1].cents->value(), 1.88, 0.06);
}

TEST(MixtureShared, OneBehindAPipeAsLoudIsNotCalledSilent) {
    const auto reading = hear(0.1, true);
    ASSERT_TRUE(reading);
    EXPECT_EQ(reading->pipes[0].presence, Presence::sounding);
    EXPECT_NE(reading->pipes[1].presence, Presence::silent);
}

TEST(MixtureShared, APipesOwnPartialsArentTakenForAnother) {
    for (const double level : {0.1, 0.003}) {
        const auto reading = hear(level, false);
        ASSERT_TRUE(reading);
        EXPECT_EQ(reading->pipes[0].presence, Presence::sounding);
        EXPECT_EQ(reading->pipes[1].presence, Presence::silent);
    }
}

}  // namespace mixture_shared_test
}  // namespace rankwright::listening
