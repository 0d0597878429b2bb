// What is said of pipes that can't be told apart: how long a beat lasts is its definition, the
// frequencies' difference; that two in unison have none needs no source.
#include "listening/mixture/unresolved.h"

#include <algorithm>
#include <cmath>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace mixture_unresolved_test {

constexpr double kUnison_hz = 250.0;

struct Key {
    std::vector<MixturePipeReading> readings;
    std::vector<UnresolvedPipe> pipes;

    void add(int ratio, Presence presence) {
        MixturePipeReading reading;
        reading.ratio = {ratio, 1};
        reading.presence = presence;
        readings.push_back(reading);
        UnresolvedPipe pipe;
        pipe.reach = {kUnison_hz * ratio, -0.01, 0.01, 20000.0};
        pipe.strongest_hz = kUnison_hz * ratio;
        pipes.push_back(pipe);
    }
    void add_sounding(int ratio, double cents, double sd = 0.005) {
        add(ratio, Presence::sounding);
        readings.back().cents = Cents{cents};
        readings.back().cents_sd = Cents{sd};
        readings.back().hz = transpose(Hertz{kUnison_hz * ratio}, Cents{cents});
    }
    /// Likely, if it sounds at all, near that place.
    void add_doubtful(int ratio, double likely_cents, double width_cents) {
        add(ratio, Presence::cannot_tell);
        for (double x = -16.0; x <= 16.0; x += 0.02) {
            const double off = (x - likely_cents) / width_cents;
            pipes.back().evidence.places.push_back({x, 1.0, -0.5 * off * off});
        }
    }
    void name(double seconds = 2.4) { name_unresolved(readings, pipes, seconds); }
};

using Rows = std::vector<std::size_t>;

// 4 and 8 times 250 Hz meet at 2000 Hz: half a cent apart they beat every 1.7 s.
TEST(MixtureUnresolved, APipeThatMayHideBesideAnotherIsPartedWhenTheirBeatHasTurned) {
    Key key;
    key.add_sounding(4, 1.0);
    key.add_sounding(6, -3.0);
    key.add_doubtful(8, 1.5, 0.01);
    key.name(0.5);
    const MixturePipeReading& hidden = key.readings[2];
    EXPECT_EQ(hidden.unresolved_with, Rows{0});
    EXPECT_EQ(hidden.untold, Untold::hidden);
    EXPECT_FALSE(hidden.mute_one);
    ASSERT_TRUE(hidden.to_part);
    const double turn_s = 1.0 / (2000.0 * (std::exp2(0.5 / 1200.0) - 1.0));
    EXPECT_NEAR(hidden.to_part->count(), turn_s, 0.1);
    EXPECT_TRUE(key.readings[0].unresolved_with.empty() && key.readings[1].unresolved_with.empty());
}

// In unison partials of one pipe stray by as much: muting tells sooner than any time.
TEST(MixtureUnresolved, APipeInUnisonWithAnotherIsRatherToBeHeardWithThatMuted) {
    Key key;
    key.add_sounding(4, 1.0);
    key.add_doubtful(8, 1.0, 0.02);
    key.name();
    EXPECT_EQ(key.readings[1].unresolved_with, Rows{0});
    EXPECT_TRUE(key.readings[1].mute_one);
}

// It stands nowhere in particular: no other pipe is why.
TEST(MixtureUnresolved, APipeThatMayStandAnywhereIsLostInNoiseAndBehindNobody) {
    Key key;
    key.add_sounding(4, 1.0);
    key.add_doubtful(8, 0.0, 1e6);
    key.name();
    EXPECT_TRUE(key.readings[1].unresolved_with.empty());
    EXPECT_EQ(key.readings[1].untold, Untold::noise);
}

TEST(MixtureUnresolved, APipeAboveTheRecordingsBandIsSaidToBeSo) {
    Key key;
    key.add_sounding(4, 1.0);
    key.add(20, Presence::cannot_tell);
    key.pipes.back().reach.highest_hz = 3600.0;
    key.readings.back().untold = Untold::soft;
    key.name();
    EXPECT_EQ(key.readings[1].untold, Untold::above);
}

TEST(MixtureUnresolved, APipeOfWhichNoPartialCouldBeCutOutIsCrowded) {
    Key key;
    key.add_sounding(4, 1.0);
    key.add(5, Presence::cannot_tell);
    key.name();
    EXPECT_EQ(key.readings[1].untold, Untold::crowded);
}

// 1000 and 1500 Hz meet at 3000 Hz: 0.05 cent apart they beat every 11.5 s.
TEST(MixtureUnresolved, TwoThatSoundAreNamedUntilMoreThanAThirdOfTheirBeatIsHeard) {
    Key key;
    key.add_sounding(4, 0.0);
    key.add_sounding(6, 0.05);
    key.name();
    for (const std::size_t i : {0U, 1U}) {
        EXPECT_EQ(key.readings[i].unresolved_with, Rows{1 - i});
        ASSERT_TRUE(key.readings[i].to_part);
        EXPECT_GT(key.readings[i].to_part->count(), 11.5 / 3.0);
        EXPECT_LT(key.readings[i].to_part->count(), 11.5);
    }
    Key apart;
    apart.add_sounding(4, 0.0);
    apart.add_sounding(6, 0.1);
    apart.name();
    EXPECT_TRUE(apart.readings[0].unresolved_with.empty());
}

// At most 0.02 cent apart, where 3000 Hz beat every 28 s.
TEST(MixtureUnresolved, TwoThatMayBeExactlyPureArePromisedNoTime) {
    Key key;
    key.add_sounding(4, 0.0, 0.005);
    key.add_sounding(6, 0.005, 0.005);
    key.name();
    EXPECT_TRUE(key.readings[0].mute_one && key.readings[1].mute_one);
    EXPECT_FALSE(key.readings[0].to_part || key.readings[1].to_part);
}

// After half a second little is known of their beat yet; more will be.
TEST(MixtureUnresolved, TwoOfWhichLittleIsKnownYetAreToBeHeardLonger) {
    Key key;
    key.add_sounding(4, 0.0, 0.15);
    key.add_sounding(6, 0.1, 0.15);
    key.name(0.5);
    ASSERT_TRUE(key.readings[0].to_part);
    EXPECT_LT(key.readings[0].to_part->count(), kLongestMixtureSpan.count());
    EXPECT_FALSE(key.readings[0].mute_one);
}

}  // namespace mixture_unresolved_test
}  // namespace rankwright::listening
