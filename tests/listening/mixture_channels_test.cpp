// What two microphones hear of one key, taken together. The figures are worked by hand with the
// weighted mean and Birge's ratio (R. T. Birge, Physical Review 40, 1932, 207; from memory).
#include "listening/mixture/channels.h"

#include <cmath>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace mixture_channels_test {

constexpr Hertz kUnison{100.0};

MixturePipeReading sounds(double cents, double sd, double evidence, double level_db = -20.0) {
    MixturePipeReading pipe;
    pipe.ratio = {4, 1};
    pipe.presence = Presence::sounding;
    pipe.cents = Cents{cents};
    pipe.cents_sd = Cents{sd};
    pipe.hz = transpose(kUnison * 4.0, *pipe.cents);
    pipe.level = Decibels{level_db};
    pipe.evidence = evidence;
    return pipe;
}

MixturePipeReading other(Presence presence, double evidence) {
    MixturePipeReading pipe;
    pipe.ratio = {8, 1};
    pipe.presence = presence;
    pipe.evidence = evidence;
    return pipe;
}

// The second of two pipes; the first sounds to both.
MixturePipeReading joined(const MixturePipeReading& left, const MixturePipeReading& right) {
    const MixturePipeReading clear = sounds(0.0, 0.01, 30.0);
    const auto both = join_channels(
        {MixtureReading{{clear, left}, {}}, MixtureReading{{clear, right}, {}}}, kUnison);
    return both->pipes[1];
}

TEST(MixtureChannels, WhatOneHearsAndTheOtherDoesntIsntTold) {
    for (const auto& against :
         {other(Presence::silent, -2.5), other(Presence::cannot_tell, -0.8)}) {
        const MixturePipeReading pipe = joined(sounds(2.6, 0.05, 0.02), against);
        EXPECT_EQ(pipe.presence, Presence::cannot_tell);
        EXPECT_EQ(pipe.untold, Untold::channels);
        EXPECT_FALSE(pipe.hz || pipe.cents || pipe.cents_sd || pipe.level);
    }
}

TEST(MixtureChannels, WhatOneIsSureOfSoundsThoughTheOtherCantTell) {
    const MixturePipeReading pipe =
        joined(sounds(-1.6, 0.05, 20.0), other(Presence::cannot_tell, -0.5));
    EXPECT_EQ(pipe.presence, Presence::sounding);
    EXPECT_NEAR(pipe.cents->value(), -1.6, 1e-12);
    EXPECT_NEAR(pipe.cents_sd->value(), 0.05, 1e-12);
}

TEST(MixtureChannels, SilentIsWhatIsSoByBothTogether) {
    const auto silent = [](double evidence) { return other(Presence::silent, evidence); };
    const auto open = [](double evidence) { return other(Presence::cannot_tell, evidence); };
    EXPECT_EQ(joined(silent(-2.3), silent(-3.0)).presence, Presence::silent);
    EXPECT_EQ(joined(silent(-5.0), open(-0.8)).presence, Presence::silent);
    EXPECT_EQ(joined(silent(-2.2), open(-0.8)).presence, Presence::cannot_tell);
}

TEST(MixtureChannels, PitchesAreWeighedByTheirUncertainties) {
    // Weights 4 to 1; of 0.1 cent between them chi square is 0.8: no more doubt than the best has.
    const MixturePipeReading alike = joined(sounds(1.0, 0.05, 20.0), sounds(1.1, 0.1, 20.0));
    EXPECT_NEAR(alike.cents->value(), 1.02, 1e-12);
    EXPECT_NEAR(alike.cents_sd->value(), 0.05, 1e-12);
    EXPECT_NEAR(alike.hz->value(), 400.0 * std::pow(2.0, 1.02 / 1200.0), 1e-9);
    // Half a cent apart, chi square is 20, and the doubt grows by its root.
    const MixturePipeReading apart = joined(sounds(1.0, 0.05, 20.0), sounds(1.5, 0.1, 20.0));
    EXPECT_NEAR(apart.cents->value(), 1.1, 1e-12);
    EXPECT_NEAR(apart.cents_sd->value(), 0.05 * std::sqrt(20.0), 1e-12);
}

TEST(MixtureChannels, WhereTheyPutItApartTheSurerIsBelieved) {
    const MixturePipeReading pipe = joined(sounds(1.4, 0.02, 19.0), sounds(0.9, 0.01, 2.9));
    EXPECT_NEAR(pipe.cents->value(), 1.4, 1e-12);
    EXPECT_NEAR(pipe.cents_sd->value(), 0.02, 1e-12);
    // As sure of two places: it can't be told where it stands.
    const MixturePipeReading unlike = joined(sounds(1.4, 0.02, 19.0), sounds(3.7, 0.05, 12.0));
    EXPECT_EQ(unlike.presence, Presence::cannot_tell);
    EXPECT_EQ(unlike.untold, Untold::channels);
}

TEST(MixtureChannels, ALineThatHearsNothingCountsForNothing) {
    const MixtureReading heard{{sounds(0.3, 0.02, 20.0), sounds(-1.0, 0.02, 20.0)}, {}};
    const MixtureReading dead{{other(Presence::silent, -6.0), other(Presence::silent, -6.0)}, {}};
    const MixtureReading hum{{sounds(9.0, 0.02, 5.0, -60.0), other(Presence::silent, -6.0)}, {}};
    for (const MixtureReading& line : {dead, hum}) {
        const auto both = join_channels({line, heard}, kUnison);
        EXPECT_NEAR(both->pipes[0].cents->value(), 0.3, 1e-12);
        EXPECT_NEAR(both->pipes[1].cents->value(), -1.0, 1e-12);
    }
    EXPECT_TRUE(join_channels({std::nullopt, heard}, kUnison));
    EXPECT_FALSE(join_channels({std::nullopt, std::nullopt}, kUnison));
}

}  // namespace mixture_channels_test
}  // namespace rankwright::listening
