// When a reading is worth keeping: common practice, no source.
#include "visit/keeper.h"

#include <gtest/gtest.h>

namespace rankwright::visit {
namespace keeper_test {

using tuning::Stage;

KeptReading figure(double cents, double heard_s, double sd = 0.1) {
    KeptReading reading;
    reading.pitch = transpose(Hertz{440.0}, Cents{cents});
    reading.deviation = Cents{cents};
    reading.uncertainty = Cents{sd};
    reading.heard = Seconds{heard_s};
    return reading;
}

TEST(Keeper, AsFoundIsKeptOnceItHasStoodForASecond) {
    Keeper keeper;
    keeper.turn_to(false);
    EXPECT_FALSE(keeper.hear(Stage::speaking, std::nullopt));
    EXPECT_FALSE(keeper.hear(Stage::reading, figure(5.0, 0.4)));
    const auto kept = keeper.hear(Stage::reading, figure(5.2, 1.0));
    ASSERT_TRUE(kept);
    EXPECT_EQ(kept->moment, Moment::before);
    EXPECT_DOUBLE_EQ(kept->deviation.value(), 5.2);
    EXPECT_FALSE(keeper.hear(Stage::reading, figure(5.3, 1.4))) << "once only";
}

TEST(Keeper, APipeMovedAtOnceIsKeptAsLastSeenBefore) {
    Keeper keeper;
    keeper.turn_to(false);
    keeper.hear(Stage::reading, figure(5.0, 0.4));
    const auto kept = keeper.hear(Stage::moving, figure(3.0, 0.1));
    ASSERT_TRUE(kept);
    EXPECT_EQ(kept->moment, Moment::before);
    EXPECT_DOUBLE_EQ(kept->deviation.value(), 5.0) << "not where it was moved to";
    EXPECT_TRUE(keeper.touched());
}

TEST(Keeper, AsLeftIsKeptWhenItSettlesAndAgainAfterItWasMovedAgain) {
    Keeper keeper;
    keeper.turn_to(false);
    keeper.hear(Stage::reading, figure(5.0, 1.0));
    keeper.hear(Stage::moving, figure(1.0, 0.1));
    const auto first = keeper.hear(Stage::settled, figure(0.3, 1.0));
    ASSERT_TRUE(first);
    EXPECT_EQ(first->moment, Moment::after);
    EXPECT_FALSE(keeper.hear(Stage::settled, figure(0.3, 2.0)));
    keeper.hear(Stage::moving, figure(-2.0, 0.1));
    const auto second = keeper.hear(Stage::settled, figure(0.1, 1.0));
    ASSERT_TRUE(second);
    EXPECT_DOUBLE_EQ(second->deviation.value(), 0.1);
}

// Two treble pipes wander so fast that the ear sees a movement now and then.
TEST(Keeper, APipeThatComesToStandWhereItStoodWasNotTouched) {
    Keeper keeper;
    keeper.turn_to(false);
    keeper.hear(Stage::reading, figure(0.4, 1.0));
    ASSERT_TRUE(keeper.hear(Stage::settled, figure(0.4, 2.0)));  // as left
    keeper.hear(Stage::moving, figure(1.1, 0.4, 0.5));
    EXPECT_TRUE(keeper.touched()) << "as long as it seems so";
    EXPECT_FALSE(keeper.hear(Stage::settled, figure(0.3, 1.0)));
    EXPECT_FALSE(keeper.touched());
    EXPECT_EQ(keeper.touches(), 0);
    keeper.hear(Stage::moving, figure(1.1, 0.4, 0.5));
    keeper.hear(Stage::reading, figure(1.9, 1.0));
    EXPECT_TRUE(keeper.touched());
    EXPECT_EQ(keeper.touches(), 1);
}

// By beats the first figure after a movement hardly knows anything: it can't tell that there was
// none, and what is well known afterwards does.
TEST(Keeper, AFigureThatIsHardlyKnownDoesNotHideATouch) {
    for (const Stage while_moved : {Stage::moving, Stage::speaking}) {
        Keeper keeper;
        keeper.turn_to(false);
        keeper.hear(Stage::reading, figure(13.0, 1.2));
        keeper.hear(while_moved, std::nullopt);
        keeper.hear(Stage::reading, figure(0.5, 0.3, 5.0));
        keeper.hear(Stage::reading, figure(0.4, 0.8, 1.5));
        keeper.hear(Stage::settled, figure(0.3, 1.5, 0.27));
        EXPECT_TRUE(keeper.touched());
        EXPECT_EQ(keeper.touches(), 1);
        EXPECT_EQ(keeper.sure_touches(), 1);
        EXPECT_NEAR(keeper.moved_by().value(), 12.7, 1e-6);
    }
}

// The figure is a mean of some seconds: after a small tap it slides to where the pipe stands now.
TEST(Keeper, ASmallTapThatTheMeanSlidesOverIsATouch) {
    Keeper keeper;
    keeper.turn_to(true);
    keeper.hear(Stage::settled, figure(-0.48, 2.0, 0.17));
    for (double cents = -0.4; cents < 0.8; cents += 0.1)
        keeper.hear(Stage::settled, figure(cents, 3.0, 0.12));
    EXPECT_GE(keeper.sure_touches(), 1);
}

// Who knows which way it must go taps it as soon as it is heard.
TEST(Keeper, ATouchWithinTheFirstSecondIsOne) {
    Keeper keeper;
    keeper.turn_to(true);
    keeper.hear(Stage::reading, figure(-1.1, 0.3));
    keeper.hear(Stage::reading, figure(-1.0, 0.6));
    keeper.hear(Stage::reading, figure(0.1, 0.3));
    keeper.hear(Stage::settled, figure(0.2, 1.3));
    EXPECT_EQ(keeper.sure_touches(), 1);
    ASSERT_TRUE(keeper.taken_up());
    EXPECT_NEAR(keeper.taken_up()->deviation.value(), -1.1, 1e-9);
}

// As in a simulated visit (seed 129): the tap came within the second, and the mean had begun to
// slide when the sound broke off.
TEST(Keeper, AMeanThatATapHasBegunToPullIsNotWhereItStood) {
    Keeper keeper;
    keeper.turn_to(true);
    keeper.hear(Stage::reading, figure(0.90, 0.60, 0.07));
    keeper.hear(Stage::reading, figure(0.84, 0.81, 0.07));
    keeper.hear(Stage::reading, figure(0.63, 1.03, 0.21));
    keeper.hear(Stage::reading, figure(0.56, 1.15, 0.28));
    keeper.hear(Stage::speaking, std::nullopt);
    keeper.hear(Stage::reading, figure(0.37, 0.64, 0.03));
    keeper.hear(Stage::settled, figure(0.27, 1.21, 0.04));
    EXPECT_EQ(keeper.sure_touches(), 1);
    ASSERT_TRUE(keeper.taken_up());
    EXPECT_NEAR(keeper.taken_up()->deviation.value(), 0.90, 1e-9);
}

// As on a deep pipe by beats, whose first figure hardly knows anything.
TEST(Keeper, WhatIsHardlyKnownIsNotAsFound) {
    Keeper keeper;
    keeper.turn_to(false);
    EXPECT_FALSE(keeper.hear(Stage::reading, figure(22.9, 1.2, 11.6)));
    EXPECT_FALSE(keeper.hear(Stage::moving, figure(9.0, 0.4, 4.0)));
    const auto kept = keeper.hear(Stage::reading, figure(-2.1, 1.4, 0.25));
    ASSERT_TRUE(kept);
    EXPECT_DOUBLE_EQ(kept->deviation.value(), -2.1);
    EXPECT_FALSE(keeper.touched());
}

// What it is measured from is another thing then, and the reference's own doubt comes in.
TEST(Keeper, HeardAloneAfterBeatsItWasNotTouched) {
    Keeper keeper;
    keeper.turn_to(false);
    KeptReading by_beats = figure(-0.9, 2.0);
    by_beats.pitch = Hertz{440.0};
    by_beats.reference = PipeId{"great", "octave-4", 1, 20};
    keeper.hear(Stage::reading, by_beats);
    KeptReading alone = figure(0.4, 1.0, 0.05);
    alone.pitch = transpose(by_beats.pitch, Cents{0.6});
    keeper.hear(Stage::settled, alone);
    EXPECT_FALSE(keeper.touched());
}

// As in a simulated visit (seed 106): moved by less than beats and a pitch alone may differ.
TEST(Keeper, ASmallMoveOfWhatIsHeardAloneAfterBeatsIsATouch) {
    Keeper keeper;
    keeper.turn_to(true);
    KeptReading beside = figure(0.9, 2.0);
    beside.reference = PipeId{"great", "octave", 1, 54};
    keeper.hear(Stage::reading, beside);
    keeper.hear(Stage::reading, figure(0.6, 1.5));
    EXPECT_FALSE(keeper.touched()) << "heard otherwise, and not moved";
    keeper.hear(Stage::reading, figure(0.6, 3.0));
    keeper.hear(Stage::settled, figure(-0.05, 1.2));
    EXPECT_TRUE(keeper.touched());
}

TEST(Keeper, APipeFoundInTuneIsKeptBothWays) {
    Keeper keeper;
    keeper.turn_to(false);
    const auto before = keeper.hear(Stage::settled, figure(0.2, 1.0));
    const auto after = keeper.hear(Stage::settled, figure(0.2, 1.1));
    ASSERT_TRUE(before && after);
    EXPECT_EQ(before->moment, Moment::before);
    EXPECT_EQ(after->moment, Moment::after);
    EXPECT_FALSE(keeper.touched());
}

TEST(Keeper, APipeLeftUnsettledIsKeptAsNearAsItCame) {
    Keeper keeper;
    keeper.turn_to(false);
    keeper.hear(Stage::reading, figure(5.0, 1.0));
    keeper.hear(Stage::moving, figure(2.0, 0.1));
    keeper.hear(Stage::reading, figure(1.4, 1.0));
    const auto still = keeper.leave();
    ASSERT_EQ(still.size(), 1U);
    EXPECT_EQ(still[0].moment, Moment::after);
    EXPECT_DOUBLE_EQ(still[0].deviation.value(), 1.4);
    EXPECT_FALSE(still[0].settled);
}

TEST(Keeper, APipeOnlyHeardIsLeftWithWhatStoodShortly) {
    Keeper keeper;
    keeper.turn_to(false);
    keeper.hear(Stage::reading, figure(5.0, 0.5));
    const auto still = keeper.leave();
    ASSERT_EQ(still.size(), 1U);
    EXPECT_EQ(still[0].moment, Moment::before);
    EXPECT_TRUE(keeper.leave().empty());
}

}  // namespace keeper_test
}  // namespace rankwright::visit
