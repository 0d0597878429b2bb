#include "organ/pitch_of_day.h"

#include "organ/air.h"
#include "organ/one_rank.h"

#include <cmath>
#include <random>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::organ {
namespace pitch_of_day_test {

using namespace literals;
using ::testing::ElementsAre;
using ::testing::HasSubstr;

Instrument home_organ() {
    Instrument organ = organ_of({rank_of("Octave 4'", {4, 1})}, "Werckmeister III");
    organ.at = 18_degC;
    return organ;
}

Day at(Celsius thermometer) {
    Day day;
    day.temperature = thermometer;
    return day;
}

std::vector<ReferenceReading> readings_at(const Instrument& organ, Hertz a,
                                          const std::vector<double>& off_cents) {
    std::vector<ReferenceReading> out;
    for (std::size_t i = 0; i < off_cents.size(); ++i) {
        const Pipe pipe = *pipe_of(find_stop(organ, "Octave 4'").value(), static_cast<int>(13 + i));
        out.push_back(
            {pipe, transpose(target(organ, pipe, {a, {}}), Cents{off_cents[i]}), Cents{0.02}});
    }
    return out;
}

TEST(PitchOfDay, PipesThatStandOffAreLeftOut) {
    const Instrument organ = home_organ();
    const auto readings = readings_at(organ, 437_Hz, {0.3, -0.2, 14.0, 0.1, -0.4, 0.2, -31.0});
    const auto day = pitch_of_day(organ, readings, Day{});
    ASSERT_TRUE(day);
    EXPECT_NEAR(interval(437_Hz, day->a).value(), 0.0, 0.05);
    EXPECT_THAT(day->astray, ElementsAre(2U, 6U));
    EXPECT_NEAR(day->from_home.value(), interval(440_Hz, 437_Hz).value(), 0.05);
    EXPECT_TRUE(day->explanation.empty());
}

// Many draws of seven pipes that scatter by a cent: errors must be as large as said.
TEST(PitchOfDay, TheUncertaintyIsTrue) {
    const Instrument organ = home_organ();
    std::mt19937 random(20);
    std::normal_distribution<double> scatter(0.0, 1.0);
    int within_one = 0, within_two = 0;
    constexpr int kRounds = 2000;
    for (int round = 0; round < kRounds; ++round) {
        std::vector<double> off(7);
        for (double& cents : off)
            cents = scatter(random);
        const auto day = pitch_of_day(organ, readings_at(organ, 442_Hz, off), Day{});
        const double error = std::abs(interval(442_Hz, day->a) / day->uncertainty);
        within_one += error <= 1.0;
        within_two += error <= 2.0;
    }
    // Student's t with six degrees of freedom has the standard deviation 1.22; 73 and 95 % of it
    // lie within one and two of that. Leaving out a good pipe now and then costs a little.
    EXPECT_NEAR(within_one / double(kRounds), 0.71, 0.05);
    EXPECT_NEAR(within_two / double(kRounds), 0.94, 0.03);
}

TEST(PitchOfDay, ReedsDoNotTellTheDaysPitch) {
    const Instrument organ = home_organ();
    auto readings = readings_at(organ, 441_Hz, {0.0, 40.0});
    readings[1].pipe.make.kind = PipeKind::reed_full;
    const auto day = pitch_of_day(organ, readings, Day{});
    ASSERT_TRUE(day);
    EXPECT_NEAR(day->a.value(), 441.0, 1e-6);
    EXPECT_THAT(day->astray, ElementsAre(1U));
    readings.erase(readings.begin());
    EXPECT_FALSE(pitch_of_day(organ, readings, Day{}));
    EXPECT_FALSE(pitch_of_day(organ, {}, Day{}));
}

// Early Music Sources, "Historical pitch", footnote 1: a pipe of 440.3 Hz at 20 °C gives 432.7 at
// 10 °C; so the thermometer explains 432.7, and not 440.3.
TEST(PitchOfDay, TheThermometerExplainsOrContradicts) {
    Instrument organ = home_organ();
    organ.a = 440.3_Hz;
    organ.at = 20_degC;
    const auto cold =
        pitch_of_day(organ, readings_at(organ, 432.7_Hz, {0, 0.2, -0.2}), at(10_degC));
    ASSERT_TRUE(cold);
    EXPECT_FALSE(cold->contradicted);
    EXPECT_NEAR(cold->as_at->value(), 10.0, 0.05);
    EXPECT_THAT(cold->explanation, HasSubstr("as the thermometer explains"));
    const auto odd = pitch_of_day(organ, readings_at(organ, 440.3_Hz, {0, 0.2, -0.2}), at(10_degC));
    EXPECT_TRUE(odd->contradicted);
    EXPECT_THAT(odd->explanation, HasSubstr("pipe level"));
    EXPECT_NEAR(odd->expected->value(), flue_shift(20_degC, 10_degC).value(), 1e-9);
}

TEST(PitchOfDay, DivisionsAtAnotherTemperatureAreNamed) {
    Instrument organ = home_organ();
    Division swell = organ.divisions[0];
    swell.id = "swell";
    swell.name = "Swell";
    organ.divisions.push_back(swell);
    Day day;
    day.temperature = 18_degC;
    day.places = {{"swell", 21_degC}};
    EXPECT_THAT(
        thermometer_warnings(organ, day),
        ElementsAre(AllOf(HasSubstr("Swell stands at 21.0 °C"), HasSubstr("8.9 cents sharp"))));
    day.places = {{"swell", 18.6_degC}};
    EXPECT_TRUE(thermometer_warnings(organ, day).empty());
}

constexpr Cents kSurely{0.1};

// A pipe that was moved, or took another one's place, isn't the air: common practice, no source.
TEST(DriftFollower, WhatOnePipeAloneTellsBeyondAKelvinIsNotBelieved) {
    const PipeId a{"great", "octave-4", 1, 10}, b{"great", "octave-4", 1, 20};
    DriftFollower follower;
    follower.heard(0_s, a, Cents{1.0}, kSurely);
    follower.heard(10_s, b, Cents{2.0}, kSurely);
    follower.heard(600_s, a, Cents{-30.0}, kSurely);
    EXPECT_EQ(follower.drift(), Cents{0.0});
    follower.heard(630_s, b, Cents{3.5}, kSurely);
    EXPECT_NEAR(follower.drift().value(), 1.5, 1e-9);
    follower.forget(a);
    EXPECT_NEAR(follower.drift().value(), 1.5, 1e-9);
    follower.forget(b);
    EXPECT_EQ(follower.drift(), Cents{0.0});
    // The hall was heated over dinner.
    follower.heard(700_s, a, Cents{0.0}, kSurely);
    follower.heard(710_s, b, Cents{0.0}, kSurely);
    follower.heard(9000_s, a, Cents{9.0}, kSurely);
    follower.heard(9010_s, b, Cents{8.0}, kSurely);
    EXPECT_NEAR(follower.drift().value(), 8.0, 1e-9);
}

// Worked at again and again, one reference was misheard each time, and the day's pitch went with
// it.
TEST(DriftFollower, OnePipeHeardOverAndOverCountsOnce) {
    const PipeId a{"great", "octave-4", 1, 10}, b{"great", "octave-4", 1, 20},
        c{"great", "octave-4", 1, 30};
    DriftFollower follower;
    for (const PipeId& pipe : {a, b, c})
        follower.heard(0_s, pipe, Cents{0.0}, kSurely);
    for (int i = 0; i < 12; ++i)
        follower.heard(Seconds{600.0 + 10.0 * i}, a, Cents{-7.0}, kSurely);
    EXPECT_EQ(follower.drift(), Cents{0.0});
    follower.heard(800_s, b, Cents{1.5}, kSurely);
    follower.heard(810_s, c, Cents{1.5}, kSurely);
    EXPECT_NEAR(follower.drift().value(), 1.5, 1e-9);
    for (int i = 0; i < 12; ++i)
        follower.heard(Seconds{820.0 + 10.0 * i}, a, Cents{-7.0}, kSurely);
    EXPECT_NEAR(follower.drift().value(), 1.5, 1e-9);
}

// Heard in a simulated visit whose air stood still: a bass was misread by half a cent at first, and
// of another pipe two were taken for one; the day's pitch went 0.9 cent up.
TEST(DriftFollower, ChangesNoSurerThanTheirHearingsAreNone) {
    const PipeId bass{"great", "octave-4", 1, 6}, other{"great", "octave-4", 1, 24};
    DriftFollower follower;
    follower.heard(137_s, bass, Cents{-1.19}, Cents{0.45});
    follower.heard(150_s, other, Cents{0.98}, Cents{0.4});
    follower.heard(216_s, bass, Cents{-0.57}, Cents{0.4});
    follower.heard(312_s, other, Cents{9.31}, Cents{0.3});
    follower.heard(412_s, bass, Cents{-0.26}, Cents{0.4});
    follower.heard(481_s, bass, Cents{-0.15}, Cents{0.4});
    EXPECT_EQ(follower.drift(), Cents{0.0});
    // Two that tell the same tell it surely enough.
    follower.forget(other);
    const PipeId third{"great", "octave-4", 1, 30};
    follower.heard(500_s, third, Cents{3.0}, Cents{0.3});
    for (double at : {1000.0, 1010.0, 1020.0}) {
        follower.heard(Seconds{at}, bass, Cents{0.8}, Cents{0.4});
        follower.heard(Seconds{at + 5.0}, third, Cents{5.0}, Cents{0.3});
    }
    EXPECT_NEAR(follower.drift().value(), 1.99, 1e-9);
}

TEST(DriftFollower, OnlyChangesCount) {
    DriftFollower follower;
    const PipeId a{"great", "octave-4", 1, 25}, b{"great", "octave-4", 1, 30};
    follower.heard(0_s, a, Cents{7.0}, kSurely);
    follower.heard(10_s, b, Cents{-3.0}, kSurely);
    EXPECT_EQ(follower.drift(), Cents{0.0});
    follower.heard(600_s, a, Cents{8.2}, kSurely);
    follower.heard(610_s, b, Cents{-1.8}, kSurely);
    EXPECT_NEAR(follower.drift().value(), 1.2, 1e-9);
    // A pipe that joins now starts from where the reference is, wherever it stands itself.
    const PipeId c{"great", "octave-4", 1, 37};
    follower.heard(630_s, c, Cents{20.0}, kSurely);
    follower.heard(640_s, c, Cents{20.0}, kSurely);
    EXPECT_NEAR(follower.drift().value(), 1.2, 1e-9);
    // One disturbed hearing among several changes nothing.
    follower.heard(660_s, a, Cents{30.0}, kSurely);
    EXPECT_NEAR(follower.drift().value(), 1.2, 1e-9);
}

}  // namespace pitch_of_day_test
}  // namespace rankwright::organ
