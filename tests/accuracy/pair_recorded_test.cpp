// A reference and a pipe sounding together, against what is true of each alone: synthetic pairs
// against the exact two-tone Cramér–Rao bound, recorded pairs (open data) against the slopes of
// their own phases, found by another method before they are mixed. A part of what the laboratory
// (pair_laboratory.cpp) hears.
#include "accuracy/recorded_pairs.h"
#include "accuracy/synthetic_pairs.h"
#include "accuracy/whole_pairs.h"
#include "listening/measure.h"
#include "listening/pair/pair.h"
#include "support/recordings.h"

#include <algorithm>
#include <cstddef>
#include <numbers>
#include <random>
#include <span>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::testing {
namespace pair_recorded_test {

// Wanted of recorded pairs: median error 0.008 a second; where the beat exceeds 0.1 cent, the sign
// right in 98 %, and in 99.5 % of those shown as a value; answers in 98 %. Of so few cases, that is
// no wrong sign shown, and at most one not answered for.
void expect_honest(const PairRow& row) {
    EXPECT_GE(row.answered(), 0.95);
    EXPECT_LE(row.errors().median(), 0.008);
    EXPECT_EQ(row.shown_right(), row.shown());
    EXPECT_GE(row.shown(), 0.75 * row.signed_cases());  // abstaining doesn't pay
    EXPECT_GE(row.errors().within(2.0), 0.85);
}

TEST(SyntheticPairs, ReachTheBound) {
    std::mt19937_64 random(305);
    PairRow row("few_steady");
    judge_steady(row, 16, random);
    row.print();
    EXPECT_EQ(row.answered(), 1.0);
    EXPECT_EQ(row.shown_right(), row.shown());
    EXPECT_LE(row.over_allowed(), 1.0);
}

// Explanations that beat several times a second, whose second tone was no pipe, were kept, and
// bands wide enough for them leave no room at the upper partials, which tell a slow beat best: of
// these eight one wasn't heard, and two were "under", one of them off by 44 times the bound.
TEST(SyntheticPairs, ASlowBeatOfLowPipesIsToldByTheirUpperPartials) {
    std::mt19937_64 random(2);
    PairRow row("low_and_slow");
    SyntheticPair pair;
    pair.reference_hz = 98.6;
    pair.beat = -0.07;
    pair.level_db = -15.0;
    pair.snr_db = 31.5;
    pair.seconds = 1.0;
    const Hertz sd{0.1 * pair.reference_hz * std::numbers::ln2 / 1200.0};
    for (int i = 0; i < 8; ++i) {
        auto phases = random;  // the bound depends on the phases that are drawn next
        const PairCase truth = render(pair, random);
        const Hertz told = Hertz{pair.reference_hz} + sd * std::normal_distribution<>()(random);
        row.judge("low", truth, {SampleRate{pair.rate}, told, sd, 1, 1},
                  beat_bound(pair, sd.value(), phases));
    }
    row.print();
    EXPECT_EQ(row.answered(), 1.0);
    EXPECT_EQ(row.shown_right(), 8);
    EXPECT_LE(row.over_allowed(), 1.0);
}

// One path of a few terms can't follow a treble's wander for nine seconds: one wandering pipe was
// then explained by two, and the other missed, off by beats a second.
TEST(SyntheticPairs, ALongRecordingIsAsSureAsAShortOne) {
    std::mt19937_64 random(684);
    PairRow row("few_long");
    judge_disturbed(row, Disturbed::wander, 30, random, 9.0);
    row.print();
    EXPECT_GE(row.answered(), 0.98);
    EXPECT_GE(row.tolerable(), 0.95);
    EXPECT_EQ(row.shown_right(), row.shown());
    EXPECT_GE(row.shown(), 0.85 * row.signed_cases());
    EXPECT_GE(row.errors().within(1.0), 0.6);
    EXPECT_GE(row.errors().within(2.0), 0.93);
}

TEST(RecordedPairs, OctavesHoldTheirFigures) {
    std::mt19937_64 random(306);
    PairRow row("few_octaves");
    RecordedPairs wanted;
    wanted.reference_partial = 2;
    wanted.count = 6;
    ASSERT_TRUE(judge_recorded(row, wanted, random));
    row.print();
    expect_honest(row);
    EXPECT_GE(row.tolerable(), 0.95);
}

TEST(RecordedPairs, UnisonsHoldTheirFigures) {
    std::mt19937_64 random(307);
    PairRow row("few_unisons");
    RecordedPairs wanted;
    wanted.count = 12;
    ASSERT_TRUE(judge_recorded(row, wanted, random));
    row.print();
    expect_honest(row);
    EXPECT_GE(row.signs_right(), row.signed_cases() - 1);
    EXPECT_GE(row.tolerable(),
              0.85);  // 0.95 is wanted (tests/figures/pair.md says what stays hard)
}

// A pipe's own unrest passes for a second tone, so that a pipe that doesn't speak beside its
// reference seemed to beat: 12 of these had a value with its sign.
TEST(RecordedPairs, OnePipeAloneHasNoBeat) {
    int pipes = 0, values = 0;
    for (const RecordedPipe& pipe :
         recorded_pipes({"Bourdon8", "FlHarm8", "Hautbois8", "Montre8"}, 42, 103)) {
        const std::vector<float>& samples = pipe.channels.front();
        const SampleRate rate{pipe.rate};
        const auto steady = listening::find_steady(samples, rate);
        if (!steady) continue;
        const std::size_t count =
            std::min(steady->count, static_cast<std::size_t>(2.4 * rate.value()));
        const auto sound = std::span<const float>(samples).subspan(steady->first, count);
        const auto pitch = listening::measure_pipe(sound, rate);
        if (!pitch) continue;
        ++pipes;
        const auto reading =
            listening::measure_pair(sound, {rate, pitch->pitch, Hertz{0.01}, 1, 1});
        if (reading && !reading->under) ++values;
    }
    EXPECT_GE(pipes, 40);
    EXPECT_LE(values, 3);
}

// A treble that wanders passes for two that hardly beat, which once hid a pipe 10 dB weaker and 5
// cents away: it was read as a slow beat, 4.3 a second off.
TEST(RecordedPairs, AnUnsteadyTrebleHidesNoWeakerPipe) {
    std::mt19937_64 random(21);
    PairRow row("few_trebles");
    RecordedPairs wanted;
    wanted.count = 13;
    wanted.lowest = 78;
    ASSERT_TRUE(judge_recorded(row, wanted, random));
    row.print();
    EXPECT_EQ(row.answered(), 1.0);
    EXPECT_EQ(row.shown_right(), row.shown());
    EXPECT_GE(row.shown(), 0.6 * row.signed_cases());  // a third beats less than once in 2.4 s
    EXPECT_LT(row.errors().worst(), 0.2);
}

// A reed has dozens of partials that the flue beside it hasn't. A second tone in all of them
// explained the reed's rustle better than the flue explained the few lowest ones, and a slow beat
// was read with its sign turned.
TEST(RecordedPairs, AReedsRustleHidesNoFlue) {
    std::mt19937_64 random(308);
    PairRow row("few_flues_from_a_reed");
    RecordedPairs wanted;
    wanted.ranks = {"Montre8"};
    wanted.reference_ranks = {"Trompette8"};
    wanted.count = 12;
    wanted.highest = 55;
    wanted.fastest = 0.5;
    ASSERT_TRUE(judge_recorded(row, wanted, random));
    row.print();
    expect_honest(row);
    EXPECT_EQ(row.tolerable(), 1.0);
}

// Whole recordings: of half of these one sounds alone for a second and more, with no partial that
// only the other has. Before their silences were told by the fit, and one partial's slope by the
// others', such had 0.57 and 0.85 within one and two standard uncertainties (120 others), and a
// sign wrong.
TEST(RecordedPairs, WholeRecordingsAreHeardWhereBothSound) {
    std::mt19937_64 random(733);
    PairRow row("few_whole");
    RecordedPairs wanted;
    wanted.count = 16;
    wanted.lowest = 36;
    wanted.highest = 79;
    wanted.slowest = 0.05;
    wanted.fastest = 2.0;
    wanted.level_db = 10.0;
    ASSERT_TRUE(judge_whole(row, wanted, random));
    row.print();
    EXPECT_GE(row.answered(), 0.95);
    EXPECT_LE(row.errors().median(), 0.008);
    EXPECT_GE(row.tolerable(), 0.9);
    EXPECT_EQ(row.shown_right(), row.shown());
    EXPECT_GE(row.shown(), 0.75 * row.signed_cases());
    EXPECT_GE(row.errors().within(2.0), 0.85);
}

}  // namespace pair_recorded_test
}  // namespace rankwright::testing
