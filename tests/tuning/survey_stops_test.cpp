// A tremulant is on, or another stop is drawn, while a rank is played. Truth is what was drawn.
#include "survey_take.h"
#include "tuning/survey.h"
#include "tuning/survey_recording.h"

#include <algorithm>
#include <cstdint>
#include <utility>

#include <gtest/gtest.h>

namespace rankwright::tuning {
namespace survey_stops_test {

using namespace survey_take;

TEST(Survey, ATremulantLeftOnIsNamedAndSpoilsTheFiguresNotThePlaces) {
    Take take(4);
    take.chamber.set_tremulant(true);
    for (int key = 1; key <= 25; ++key)
        take.press(key, 2.2);
    const SurveyResult result = take.survey();
    EXPECT_EQ(of_kind(result, FaultKind::tremulant).size(), 1U);
    EXPECT_EQ(result.faults.size(), 1U);
    EXPECT_GE(result.readings.size(), 18U);
    int wrong = 0;
    for (const SurveyReading& reading : result.readings) {
        wrong += reading.pipe.key != take.down(reading) ? 1 : 0;
        EXPECT_GE(reading.tone.uncertainty.value(), 4.0);
    }
    EXPECT_LE(wrong, 1);
    Take still(4);
    for (int key = 1; key <= 12; ++key)
        still.press(key);
    EXPECT_TRUE(still.survey().faults.empty());
}

// Two stops at once sound as one with an octave coupler does: each pipe with another an octave up,
// each in its own tune.
TEST(Survey, AnotherStopDrawnAsWellIsNoticed) {
    for (const std::uint64_t seed : {61, 62, 63}) {
        Take take(seed, "principal");
        take.chamber.draw_stop("great", "octave", true);
        Take alone(seed, "principal");
        for (Take* one : {&take, &alone})
            for (int key = 1; key <= 25; ++key)
                one->press(key);
        const SurveyResult result = take.survey("principal");
        const auto second = of_kind(result, FaultKind::second_pipe);
        ASSERT_EQ(second.size(), 1U) << seed;
        EXPECT_NEAR(second[0]->interval.value(), 1200.0, 0.1) << seed;
        EXPECT_EQ(result.faults.size(), 1U) << seed;
        const auto tones = tones_of_recording(alone.sound, SampleRate{kRate}, 1);
        EXPECT_TRUE(judge_survey(alone.plan("principal"), tones, SampleRate{kRate}).faults.empty())
            << seed;
        // Half a dozen measurements of each key cost more than all the rest; a few keys tell.
        const auto looked_into = std::count_if(
            tones.begin(), tones.end(), [](const auto& tone) { return !tone.every_nth.empty(); });
        EXPECT_GT(looked_into, 0) << seed;
        EXPECT_LT(looked_into, 20) << seed;
    }
}

// What two pipes beat passes for a tremulant in some rooms, and a tremulant puts lines beside the
// partials, as far as it is fast, that are no other pipe's. Plays in which two passed for one.
TEST(Survey, AnotherStopDrawnAsWellIsToldFromATremulant) {
    for (const auto& [seed, lowest_midi] :
         {std::pair<std::uint64_t, int>{65, 48}, {66, 48}, {67, 60}})
        for (const bool second : {true, false}) {
            Take take(seed, "principal", Cents{8.0}, lowest_midi);
            if (second)
                take.chamber.draw_stop("great", "octave", true);
            else
                take.chamber.set_tremulant(true);
            for (int key = 1; key <= 25; ++key)
                take.press(key);
            const SurveyResult result = take.survey("principal");
            EXPECT_EQ(of_kind(result, FaultKind::second_pipe).size(), second ? 1U : 0U) << seed;
            EXPECT_EQ(of_kind(result, FaultKind::tremulant).size(), second ? 0U : 1U) << seed;
        }
}

// A stopped pipe hardly has even partials: what is read in their place must not be taken for a
// second pipe's, and a real one must still be noticed there.
TEST(Survey, AStoppedRankIsAloneUnlessAnotherStopIsDrawn) {
    for (const std::uint64_t seed : {61, 62, 63}) {
        for (const bool second : {false, true}) {
            Take take(seed, "principal", Cents{5.0}, 48, organ::PipeKind::stopped);
            if (second) take.chamber.draw_stop("great", "octave", true);
            for (int key = 1; key <= 25; ++key)
                take.press(key);
            const SurveyResult result = take.survey("principal");
            const auto told = of_kind(result, FaultKind::second_pipe);
            ASSERT_EQ(told.size(), second ? 1U : 0U) << seed;
            if (second) {
                EXPECT_NEAR(told[0]->interval.value(), 1200.0, 0.1) << seed;
            } else {
                EXPECT_EQ(result.readings.size(), 25U) << seed;
            }
        }
    }
}

TEST(Survey, AnotherStopThanTheOneAskedForIsNamed) {
    Take take(5, "principal");
    for (int key = 1; key <= 25; ++key)
        take.press(key);
    const SurveyResult result = take.survey("octave");
    const auto wrong = of_kind(result, FaultKind::wrong_stop);
    ASSERT_EQ(wrong.size(), 1U);
    EXPECT_NEAR(wrong[0]->interval.value(), -1200.0, 0.1);
    EXPECT_FALSE(result.pitch);
    take.expect_in_place(result);
    EXPECT_TRUE(of_kind(take.survey("principal"), FaultKind::wrong_stop).empty());
}

}  // namespace survey_stops_test
}  // namespace rankwright::tuning
