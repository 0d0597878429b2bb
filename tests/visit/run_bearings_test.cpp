// A run through the bearings.
#include "support/small_organ.h"
#include "visit/run.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>

#include <gtest/gtest.h>

namespace rankwright::visit {
namespace run_bearings_test {

using testing::small_organ;

// The temperament octave from tenor F in equal temperament. Beats a second at A 440: Teki et al.,
// J. Neurosci. 32(35), 2012, Table 1, after Capleton 2007; by MIDI number of the lower note.
struct BearingsRun : ::testing::Test {
    organ::Instrument instrument = small_organ();
    std::map<int, double> fifths{{53, 0.6}, {54, 0.6}, {55, 0.7}, {56, 0.7},
                                 {57, 0.7}, {58, 0.8}, {59, 0.8}, {60, 0.9}};
    std::map<int, double> fourths{{53, 0.8}, {54, 0.8}, {55, 0.9}, {56, 0.9}, {57, 1.0},
                                  {58, 1.1}, {59, 1.1}, {60, 1.2}, {61, 1.3}, {62, 1.3}};

    void SetUp() override { instrument.bearings = organ::Bearings{"great", "principal-8", 18, 30}; }
    visit::Run bearings(const organ::Day& day) const {
        return {
            instrument, organ::find_stop(instrument, "Principal 8").value(), day, {Job::bearings}};
    }
};

TEST_F(BearingsRun, EachNoteIsCalledWithOneThatStandsAndBeatsAsPublished) {
    for (const double a : {440.0, 415.0}) {
        organ::Day day;
        day.pitch = Hertz{a};
        visit::Run run = bearings(day);
        ASSERT_EQ(run.pipes().size(), 13U) << "tenor F to middle F";
        EXPECT_EQ(run.pipe().note, "tenor A");
        EXPECT_FALSE(run.paired_expectation()) << "the A itself is set to the pitch of the day";
        EXPECT_FALSE(run.call().also);
        EXPECT_NEAR(run.expectation().target.value(), a / 2.0, 1e-9);
        std::set<int> stands{run.pipe().key};
        while (run.next()) {
            SCOPED_TRACE(run.pipe().note);
            const auto expected = run.paired_expectation();
            ASSERT_TRUE(expected);
            const organ::Pipe& from = expected->reference.pipe;
            EXPECT_TRUE(stands.count(from.key)) << "tuned from a note that stands already";
            const auto call = run.call();
            ASSERT_TRUE(call.also) << "two keys are held";
            EXPECT_EQ(call.also->key, from.key);
            EXPECT_EQ(call.stops.size(), 1U);
            const int low = std::min(from.midi, run.pipe().midi);
            const int span = std::abs(from.midi - run.pipe().midi);
            const double beat = expected->reference.beat.value();
            const bool upper_is_tuned = run.pipe().midi > from.midi;
            ASSERT_TRUE(span == 5 || span == 7 || span == 12) << span;
            // "Fifths flat, fourths sharp": W. B. White, 1906, p. 52.
            const double wide = upper_is_tuned ? beat : -beat;
            const double published = span == 5   ? fourths.at(low)
                                     : span == 7 ? -fifths.at(low)
                                                 : 0.0;
            EXPECT_NEAR(wide, published * a / 440.0, 0.051);
            stands.insert(run.pipe().key);
        }
        EXPECT_EQ(stands.size(), 13U);
    }
}

TEST_F(BearingsRun, TheTargetIsABeatSaidInWords) {
    visit::Run run = bearings({});
    ASSERT_TRUE(run.next());
    const auto expected = run.paired_expectation();
    EXPECT_EQ(run.pipe().note, "middle E");
    EXPECT_EQ(expected->reference.words, "fifth up from tenor A, narrow");
    EXPECT_EQ(expected->reference.reference_partial, 3);
    EXPECT_EQ(expected->reference.pipe_partial, 2);
    // Where that beat is heard, the note stands at its pitch of equal temperament (MIDI).
    EXPECT_NEAR(expected->wanted(Hertz{220.0}).value(), 329.628, 1e-3);
}

TEST_F(BearingsRun, TheChestIsShownAsItStands) {
    const visit::Run run = bearings({});
    ASSERT_EQ(run.standing().size(), 13U);
    ASSERT_GT(run.other_side(), 0U);
    for (std::size_t i = 1; i < run.standing().size(); ++i) {
        const auto parity = [&](std::size_t at) {
            return run.pipes()[run.standing()[at]].midi % 2;
        };
        EXPECT_EQ(parity(i - 1) == parity(i), i != run.other_side()) << i;
    }
}

}  // namespace run_bearings_test
}  // namespace rankwright::visit
