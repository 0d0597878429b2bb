// Mutes: a tuft of cloth in a pipe's top. Levels by the definition 20·log10 of an amplitude ratio.
#include "one_of_each.h"

#include <gtest/gtest.h>

namespace rankwright::simulator {
namespace mute_test {

const PipeId kPipe{"great", "open", 1, 25};

double fundamental(const Chamber& chamber, const std::vector<float>& samples) {
    return std::abs(tone(samples, 0, samples.size(), chamber.true_pitch(kPipe).value()));
}

/// Level of the pipe's first partial once the room's sound has died away.
double level(Chamber& chamber) {
    heard(chamber, 2.0);
    return decibels(fundamental(chamber, heard(chamber, 1.0)));
}

TEST(Mute, SilencesLeaksByItsLevelAndLetsThePipeSpeakAgain) {
    Chamber chamber(one_of_each(), still());
    chamber.draw_stop("great", "open", true);
    chamber.key_down("great", 25);
    const double open = level(chamber);
    ASSERT_GT(open, -60.0);
    for (const double leak : {-20.0, -30.0, -40.0}) {
        chamber.put_mute_in(kPipe, Decibels{leak});
        EXPECT_NEAR(level(chamber) - open, leak, 1.5);
    }
    chamber.put_mute_in(kPipe);
    EXPECT_LT(level(chamber) - open, -60.0);
    chamber.take_mute_out(kPipe);
    EXPECT_NEAR(level(chamber) - open, 0.0, 1.5);
}

TEST(Mute, StaysInWhileTheKeyComesUpAndIsCounted) {
    Chamber chamber(one_of_each(), still());
    EXPECT_TRUE(chamber.muted().empty());
    chamber.put_mute_in(kPipe);
    chamber.put_mute_in({"great", "open", 1, 26}, Decibels{-20.0});
    chamber.put_mute_in({"great", "no such stop", 1, 1});
    EXPECT_EQ(chamber.muted(), (std::vector<PipeId>{kPipe, {"great", "open", 1, 26}}));
    chamber.draw_stop("great", "open", true);
    chamber.key_down("great", 25);
    // The tone must not be heard even for a moment: only its wind.
    const std::vector<float> onset = heard(chamber, 1.0);
    EXPECT_LT(decibels(fundamental(chamber, onset)), -90.0);
    chamber.take_mute_out(kPipe);
    EXPECT_EQ(chamber.muted().size(), 1U);
}

}  // namespace mute_test
}  // namespace rankwright::simulator
