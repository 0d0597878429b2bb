// What is said of a surveyed stop. Readings are made here, so what stands off is known. Which
// findings are wanted, and in which words, is the trade's (common practice, no source).
#include "visit/findings.h"

#include "tuning/audibility.h"
#include "visit/survey_words.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <random>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::visit {
namespace findings_test {

using ::testing::HasSubstr;
using tuning::audibility;
using tuning::fastest_beat;
using tuning::FaultKind;

struct FindingsTest : ::testing::Test {
    FindingsTest() {
        organ::Division great;
        great.id = "great";
        great.name = "Great";
        great.chest = organ::ChestArrangement::sides_tall_out;
        organ::Stop stop;
        stop.id = "octave";
        stop.name = "Octave 4′";
        stop.footage = *organ::parse_footage("4'");
        stop.makes = {organ::MakeRange{}};
        great.stops = {stop};
        instrument.divisions = {great};
        ref = organ::stop_by_id(instrument, "great", "octave");
        for (const organ::Pipe& pipe : organ::pipes(ref))
            off[pipe.key] = std::normal_distribution<double>(0.0, 0.1)(random);
    }

    SurveyedStop surveyed() {
        tuning::SurveyResult result;
        result.pitch = Hertz{440.0};
        FrameIndex at{48000};
        for (const organ::Pipe& pipe : organ::pipes(ref)) {
            tuning::SurveyReading reading;
            reading.pipe = pipe;
            reading.target = organ::target(instrument, pipe, {});
            reading.deviation = Cents{off[pipe.key]};
            reading.tone.pitch = transpose(reading.target, reading.deviation);
            reading.tone.uncertainty = Cents{0.02};
            reading.tone.read = true;
            reading.tone.partials = partials;
            reading.tone.from = reading.tone.stood = at;
            reading.tone.to = at = at + 96000;
            result.readings.push_back(reading);
        }
        result.faults = faults;
        result.hidden = hidden;
        return {ref, result, SampleRate{48000.0}};
    }
    std::vector<Finding> find() { return findings_of(instrument, surveyed(), {}); }
    std::vector<Finding> find(FindingKind kind) {
        std::vector<Finding> all = find();
        std::erase_if(all, [&](const Finding& finding) { return finding.kind != kind; });
        return all;
    }
    organ::Pipe pipe(int key) const { return *organ::pipe_of(ref, key); }

    organ::Instrument instrument;
    organ::StopRef ref;
    std::map<int, double> off;  ///< cents from the target, by key
    std::vector<tuning::SurveyFault> faults;
    std::vector<organ::Pipe> hidden;
    listening::Partials partials;  ///< of all pipes
    std::mt19937_64 random{5};
};

TEST_F(FindingsTest, ARankInTuneHasNothingToSay) { EXPECT_TRUE(find().empty()); }

TEST_F(FindingsTest, AWholeRankThatHasGoneOneWayIsOneFinding) {
    for (auto& [key, cents] : off)
        cents -= 8.0;
    off[30] += 6.0;
    const auto all = find();
    ASSERT_EQ(all.size(), 2U);
    EXPECT_EQ(all[0].kind, FindingKind::trend);
    EXPECT_NEAR(all[0].deviation->value(), -8.0, 0.1);
    EXPECT_THAT(all[0].words, HasSubstr("8.0 cents flat"));
    EXPECT_THAT(all[0].words, HasSubstr("temperature or wind"));
    // Measured from where its rank stands.
    EXPECT_EQ(all[1].kind, FindingKind::out_of_tune);
    EXPECT_EQ(all[1].pipe->key, 30);
    EXPECT_NEAR(all[1].deviation->value(), 6.0, 0.5);
    EXPECT_THAT(all[1].words, HasSubstr("sharp"));
}

TEST_F(FindingsTest, AChestSideThatHasGoneIsOneFinding) {
    for (auto& [key, cents] : off)
        if (key % 2 == 0) cents += 5.0;  // C♯ and every second key from there
    const auto all = find();
    ASSERT_EQ(all.size(), 1U);
    EXPECT_EQ(all[0].kind, FindingKind::trend);
    EXPECT_THAT(all[0].words, HasSubstr("C♯ side"));
    EXPECT_NEAR(all[0].deviation->value(), 5.0, 0.2);
    instrument.divisions[0].chest = organ::ChestArrangement::chromatic;
    EXPECT_TRUE(find(FindingKind::trend).empty() || !trends_of(surveyed()).c_side);
}

TEST_F(FindingsTest, AnotherStopsPitchIsNoTrendOfThisOne) {
    for (auto& [key, cents] : off)
        cents -= 1208.0;
    faults = {{FaultKind::wrong_stop, {}, {}, Cents{-1200.0}, {}, {}, {}}};
    const auto all = find();
    ASSERT_EQ(all.size(), 1U);
    EXPECT_EQ(all[0].kind, FindingKind::wrong_stop);
}

TEST_F(FindingsTest, AKeyInWhoseTurnSomethingSoundedIsntCalledSilent) {
    tuning::SurveyFault fault;
    fault.kind = FaultKind::missing;
    fault.pipe = pipe(12);
    fault.time_passed = true;
    fault.sounded = true;
    faults = {fault};
    const auto all = find(FindingKind::missing);
    ASSERT_EQ(all.size(), 1U);
    EXPECT_THAT(all[0].words, HasSubstr("play it again, alone"));
    EXPECT_THAT(all[0].words, ::testing::Not(HasSubstr("silent")));
    EXPECT_THAT(brief(all, 60).front(), HasSubstr("not read: play it alone"));
}

// Footages by their ratios: 4′ : 8′ is an octave, 4′ : 2 2/3′ a fifth, 4′ : 5 1/3′ a fourth.
TEST_F(FindingsTest, AWrongStopIsNamedByItsFootage) {
    const std::map<double, std::pair<const char*, const char*>> kWords{
        {-1200.0, {"an octave low", "as of 8′"}},      {-2400.0, {"two octaves low", "as of 16′"}},
        {-3600.0, {"three octaves low", "as of 32′"}}, {1200.0, {"an octave high", "as of 2′"}},
        {701.96, {"a fifth high", "as of 2 2/3′"}},    {-498.04, {"a fourth low", "as of 5 1/3′"}}};
    for (const auto& [cents, words] : kWords) {
        faults = {{FaultKind::wrong_stop, {}, {}, Cents{cents}, {}, {}, {}}};
        const auto all = find(FindingKind::wrong_stop);
        ASSERT_EQ(all.size(), 1U);
        EXPECT_THAT(all[0].words, HasSubstr(words.first));
        EXPECT_THAT(all[0].words, HasSubstr(words.second));
    }
}

TEST_F(FindingsTest, KeysHiddenByACipherAreToBePlayedAgain) {
    hidden = {pipe(12), pipe(13), pipe(24)};
    const auto found = find(FindingKind::hidden);
    ASSERT_EQ(found.size(), 1U);
    EXPECT_THAT(found[0].words, HasSubstr(notes_of(hidden) + ": silence it and play them again"));
    EXPECT_THAT(brief(find(), 61), ::testing::Contains("keys hidden by a cipher"));
}

TEST_F(FindingsTest, OfTwoPipesWithEachKeyNoTuningIsSaid) {
    off[20] += 9.0;
    for (auto& [key, cents] : off)
        cents += 4.0;
    faults = {{FaultKind::second_pipe, {}, {}, Cents{1200.0}, {}, {}, {}}};
    const auto all = find();
    ASSERT_EQ(all.size(), 1U);
    EXPECT_EQ(all[0].kind, FindingKind::second_pipe);
    EXPECT_THAT(all[0].words, HasSubstr("an octave high: an octave coupler is on"));
    EXPECT_THAT(all[0].words, HasSubstr("draw Octave 4′ alone"));
}

TEST_F(FindingsTest, SixtyPipesAstrayAnyWayAreNoTrend) {
    for (auto& [key, cents] : off)
        cents = std::normal_distribution<double>(0.0, 6.0)(random);
    EXPECT_TRUE(find(FindingKind::trend).empty());
    EXPECT_GT(find(FindingKind::out_of_tune).size(), 40U);
}

TEST_F(FindingsTest, TheMostAudibleComesFirstNotTheMostCents) {
    off[3] = 6.0;   // DD of the 4′: 73 Hz × 2
    off[50] = 4.0;  // two octaves and more above middle C
    off[30] = 12.0;
    const auto tuning = find(FindingKind::out_of_tune);
    ASSERT_EQ(tuning.size(), 3U);
    EXPECT_EQ(tuning[0].pipe->key, 30);
    EXPECT_EQ(tuning[1].pipe->key, 50);
    EXPECT_EQ(tuning[2].pipe->key, 3);
    for (const Finding& finding : tuning) {
        // Beats a second by the definition of the cent.
        const double hz = organ::target(instrument, *finding.pipe, {}).value();
        EXPECT_NEAR(finding.beat->value(), hz * (std::exp2(off[finding.pipe->key] / 1200.0) - 1.0),
                    0.05);
    }
}

TEST_F(FindingsTest, WhatBeatsTooSlowlyToBeMetIsLeft) {
    off[1] = 0.9;  // CC of the 4′: 131 Hz; 0.07 beats a second, 0.14 at its second partial
    partials.count = 2;
    partials.list[0] = {1, Decibels{-20.0}};
    partials.list[1] = {2, Decibels{-30.0}};
    EXPECT_TRUE(find().empty());
    off[1] = 3.0;
    EXPECT_EQ(find().size(), 1U);
}

TEST_F(FindingsTest, FaultsAreNamedInTheTradesWords) {
    tuning::SurveyFault missing{FaultKind::missing, pipe(5), FrameIndex{480000}, {}, true, {}, {}};
    tuning::SurveyFault skipped{FaultKind::missing, pipe(6), FrameIndex{480000}, {}, false, {}, {}};
    tuning::SurveyFault cipher{FaultKind::cipher, pipe(7), FrameIndex{480000}, {}, {}, {}, {}};
    tuning::SurveyFault tremulant{FaultKind::tremulant, {}, FrameIndex{480000}, {}, {}, {}, {}};
    tuning::SurveyFault wrong{FaultKind::wrong_stop, {}, {}, Cents{-1200.0}, {}, {}, {}};
    tuning::SurveyFault slow{FaultKind::off_speech, pipe(8), FrameIndex{480000}, {}, {},
                             Seconds{1.3},          {}};
    faults = {missing, skipped, cipher, tremulant, wrong, slow};
    const auto all = find();
    ASSERT_EQ(all.size(), 6U);
    // The whole rank first.
    EXPECT_EQ(all[0].kind, FindingKind::tremulant);
    EXPECT_EQ(all[1].kind, FindingKind::wrong_stop);
    EXPECT_THAT(all[1].words, HasSubstr("an octave low"));
    EXPECT_THAT(all[2].words, HasSubstr("silent"));
    EXPECT_THAT(all[3].words, HasSubstr("skipped"));
    EXPECT_THAT(all[4].words, HasSubstr("ciphers"));
    EXPECT_THAT(all[5].words, HasSubstr("off speech"));
    EXPECT_NEAR(all[2].at->count(), 10.0, 1e-9);
}

TEST(Audibility, GrowsWithTheBeatAndStaysWithinItsRange) {
    double before = 0.0;
    for (const double cents : {0.1, 0.5, 2.0, 8.0, 30.0}) {
        const double now = audibility(Hertz{440.0}, Cents{cents});
        EXPECT_GT(now, before);
        EXPECT_LT(now, 1.0);
        EXPECT_NEAR(audibility(Hertz{440.0}, Cents{-cents}), now, 0.02);
        before = now;
    }
    EXPECT_EQ(audibility(Hertz{440.0}, Cents{0.0}), 0.0);
    // The same cents beat faster, the higher the pipe.
    EXPECT_GT(audibility(Hertz{880.0}, Cents{3.0}), 2.0 * audibility(Hertz{110.0}, Cents{3.0}));
}

TEST(Audibility, APureToneAtFourBeatsIsHalfHeard) {
    // b² / (b² + 4²) with b = 4, whatever its weight: one partial.
    listening::Partials one;
    one.count = 1;
    one.list[0] = {1, Decibels{-20.0}};
    const Cents four = interval(Hertz{440.0}, Hertz{444.0});
    EXPECT_NEAR(audibility(Hertz{440.0}, four, one), 0.5, 1e-9);
    EXPECT_NEAR(fastest_beat(Hertz{440.0}, four, one).value(), 4.0, 1e-9);
}

TEST(Audibility, FaintPartialsDontMakeABeatFast) {
    listening::Partials two;
    two.count = 2;
    two.list[0] = {1, Decibels{-20.0}};
    two.list[1] = {2, Decibels{-60.0}};
    const Cents one = interval(Hertz{1000.0}, Hertz{1001.0});
    EXPECT_NEAR(fastest_beat(Hertz{1000.0}, one, two).value(), 1.0, 1e-9);
    two.list[1] = {2, Decibels{-25.0}};
    EXPECT_NEAR(fastest_beat(Hertz{1000.0}, one, two).value(), 2.0, 1e-9);
}

}  // namespace findings_test
}  // namespace rankwright::visit
