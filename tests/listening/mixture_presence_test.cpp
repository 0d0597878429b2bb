// Which pipes of a key sound, where most of what they sound is hidden: the sound is made by a
// simulator of its own (tests/support/scene.h), the truth is what was put in.
#include "listening/mixture/mixture.h"
#include "support/scene.h"

#include <cmath>
#include <cstdint>
#include <optional>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace mixture_presence_test {

constexpr double kUnison = 261.6;

struct Pipe {
    double ratio, level, cents;
    int partials = 10;
};

std::optional<MixtureReading> hear(const std::vector<Pipe>& sounding, std::vector<PureRatio> asked,
                                   double below_db = 60.0, double unison = kUnison) {
    test::Scene scene(48000.0, 3.0, 5);
    std::uint64_t seed = 3;
    for (const Pipe& pipe : sounding) {
        const auto wander = test::wander(0.05, seed);
        scene.add(test::Tone{.hz = pipe.ratio * unison,
                             .timbre = test::falling_timbre(pipe.partials, 1.3),
                             .level = pipe.level,
                             .from_s = -1.0,
                             .cents = [=](double t) { return pipe.cents + wander(t); },
                             .phase_seed = seed++});
    }
    scene.add_white(0.1, below_db);
    return measure_mixture(scene.floats(), {.rate = SampleRate{48000.0},
                                            .unison = Hertz{unison},
                                            .pipes = std::move(asked),
                                            .reference = {}});
}

// 8.4 kHz: within its reach lie partials of the others, too, so that the band would be too wide.
TEST(MixturePresence, AHighPipeOverDeepOnesIsHeard) {
    const auto reading = hear(
        {{0.5, 0.1, 3.0, 30}, {1.5, 0.1, -3.0, 20}, {16.0, 0.03, 3.0, 4}, {32.0, 0.02, -4.0, 2}},
        {{1, 2}, {3, 2}, {16, 1}, {32, 1}});
    ASSERT_TRUE(reading);
    ASSERT_EQ(reading->pipes[3].presence, Presence::sounding);
    ASSERT_TRUE(reading->pipes[3].cents);
    EXPECT_NEAR(reading->pipes[3].cents->value(), -4.0, 0.08);
    EXPECT_NE(reading->pipes[2].presence, Presence::silent);
}

// Its fundamental stands where three others have partials, 10 dB above them.
TEST(MixturePresence, APipeAsLoudAsThreeWhosePartialsItMeetsIsNotCalledSilent) {
    std::vector<Pipe> key{
        {3.0, 0.1, 0.05}, {4.0, 0.08, -0.05}, {6.0, 0.06, 0.02}, {12.0, 0.07, -0.03, 6}};
    const std::vector<PureRatio> asked{{3, 1}, {4, 1}, {6, 1}, {12, 1}};
    const auto reading = hear(key, asked);
    ASSERT_TRUE(reading);
    EXPECT_NE(reading->pipes[3].presence, Presence::silent);
    key.pop_back();
    const auto without = hear(key, asked);
    ASSERT_TRUE(without);
    EXPECT_NE(without->pipes[3].presence, Presence::sounding);
}

// Of one or two partials, far from any of another's.
TEST(MixturePresence, APipeAloneInItsBandsIsHeard) {
    struct Key {
        double unison;
        std::vector<Pipe> sounding;
        std::vector<PureRatio> asked;
    };
    for (const Key& key :
         std::vector<Key>{{652.8,
                           {{1.5, 0.07, -1.8, 12}, {5.0, 0.13, 4.0, 4}, {8.0, 0.12, 3.8, 1}},
                           {{3, 2}, {5, 1}, {8, 1}}},
                          {371.6,
                           {{1.0, 0.11, -3.8, 20}, {20.0 / 3, 0.12, 5.3, 4}, {16.0, 0.19, -5.8, 1}},
                           {{1, 2}, {1, 1}, {20, 3}, {16, 1}, {24, 1}}},
                          {542.6,
                           {{1.0, 0.06, -2.5, 20}, {5.0, 0.1, -3.7, 4}, {10.0, 0.05, -5.4, 1}},
                           {{1, 1}, {5, 1}, {10, 1}, {12, 1}}},
                          {918.7,
                           {{3.0, 0.07, -6.0, 4}, {4.0, 0.09, -2.8, 2}, {16.0 / 3, 0.06, 4.1, 1}},
                           {{3, 1}, {4, 1}, {16, 3}}}}) {
        const auto reading = hear(key.sounding, key.asked, 60.0, key.unison);
        ASSERT_TRUE(reading);
        for (const MixturePipeReading& pipe : reading->pipes) {
            bool sounds = false;
            for (const Pipe& put_in : key.sounding)
                sounds = sounds || std::abs(put_in.ratio - pipe.ratio.value()) < 1e-9;
            EXPECT_EQ(pipe.presence, sounds ? Presence::sounding : Presence::silent)
                << key.unison << " Hz, ratio " << pipe.ratio.value();
        }
    }
}

TEST(MixturePresence, NothingIsHeardWhereOnlyANeighboursPipeSounds) {
    for (const double cents : {105.0, -95.0}) {
        const auto reading = hear({{3.0, 0.1, cents}}, {{3, 1}, {4, 1}, {6, 1}}, 80.0);
        ASSERT_TRUE(reading);
        for (const MixturePipeReading& pipe : reading->pipes)
            EXPECT_NE(pipe.presence, Presence::sounding) << cents;
    }
}

}  // namespace mixture_presence_test
}  // namespace rankwright::listening
