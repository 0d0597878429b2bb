#include "visit/run.h"

#include <set>

#include <gtest/gtest.h>

namespace rankwright::visit {
namespace {

organ::Instrument small_organ() {
    organ::Instrument instrument;
    instrument.name = "a test organ";
    instrument.a = Hertz{440.0};
    instrument.at = Celsius{20.0};
    organ::Division great;
    great.id = "great";
    great.name = "Great";
    great.chest = organ::ChestArrangement::sides_tall_out;
    organ::Stop principal;
    principal.id = "principal-8";
    principal.name = "Principal 8′";
    principal.makes = {{1, {}}};
    great.stops = {principal};
    instrument.divisions = {great};
    return instrument;
}

struct RunTest : testing::Test {
    organ::Instrument instrument = small_organ();
    organ::StopRef stop = organ::find_stop(instrument, "Great/Principal 8").value();
    visit::Run run{instrument, stop, {}};

    tuning::PipeState stands(Cents off, tuning::Stage stage) const {
        tuning::PipeState state;
        state.stage = stage;
        state.deviation = off;
        return state;
    }
    tuning::PipeState other_key_sounds(int key) const {
        tuning::PipeState state;
        state.stage = tuning::Stage::settled;
        state.wrong_key = key;
        return state;
    }
};

// C side: C D E F♯ G♯ A♯; C♯ side: the others. Common practice, no source.
TEST_F(RunTest, WalksOneChestSideAfterTheOther) {
    std::set<int> keys;
    for (const organ::Pipe& pipe : run.pipes())
        keys.insert(pipe.key);
    EXPECT_EQ(run.pipes().size(), 61U);
    EXPECT_EQ(keys.size(), 61U) << "every pipe once";
    ASSERT_GT(run.other_side(), 0U);
    for (std::size_t i = 0; i < run.pipes().size(); ++i) {
        const int side = run.pipes()[i].midi % 2;
        EXPECT_EQ(side, run.pipes()[i < run.other_side() ? 0 : run.other_side()].midi % 2) << i;
    }
}

TEST_F(RunTest, StaysAtBothEnds) {
    EXPECT_FALSE(run.back());
    EXPECT_EQ(run.current(), 0U);
    while (run.next()) {
    }
    EXPECT_EQ(run.current(), 60U);
    EXPECT_FALSE(run.next());
    EXPECT_FALSE(run.go_to(62));
    EXPECT_TRUE(run.go_to(25));
    EXPECT_EQ(run.pipe().note, "middle C");
}

// Flue pipes rise by 2.95 cents a kelvin at 20 °C: 600 log2(T/T0), ISO 9613-1:1993 (A.5).
TEST_F(RunTest, WarmAirRaisesTheTargetsAndATypedPitchOverrulesIt) {
    const Hertz cool = run.expectation().target;
    run.set_temperature(Celsius{21.0});
    EXPECT_NEAR(interval(cool, run.expectation().target).value(), 2.95, 0.01);
    run.set_pitch(Hertz{440.0});
    EXPECT_NEAR(interval(cool, run.expectation().target).value(), 0.0, 1e-9);
}

TEST_F(RunTest, TakingThePitchOfTheDayMakesTheSoundingPipeRight) {
    const Hertz before = run.expectation().target;
    run.take_pitch_of_day(Cents{-7.0});
    EXPECT_NEAR(interval(before, run.expectation().target).value(), -7.0, 1e-9);
    EXPECT_TRUE(run.day().pitch);
}

TEST_F(RunTest, MovesOnWhenASettledPipesSuccessorSounds) {
    EXPECT_FALSE(run.follow(stands(Cents{6.0}, tuning::Stage::reading)));
    EXPECT_FALSE(run.follow(stands(Cents{0.2}, tuning::Stage::settled)));
    const int next_key = run.pipes()[1].key;
    EXPECT_TRUE(run.follow(other_key_sounds(next_key)));
    EXPECT_EQ(run.pipe().key, next_key);
    EXPECT_EQ(run.settled_count(), 1U);
    EXPECT_DOUBLE_EQ(run.outcomes()[0].first->value(), 6.0);
    EXPECT_DOUBLE_EQ(run.outcomes()[0].last->value(), 0.2);
}

TEST_F(RunTest, DoesNotMoveOnFromAPipeThatHasNotSettled) {
    run.follow(stands(Cents{6.0}, tuning::Stage::reading));
    tuning::PipeState next = other_key_sounds(run.pipes()[1].key);
    next.stage = tuning::Stage::wrong_key;
    EXPECT_FALSE(run.follow(next));
    EXPECT_EQ(run.current(), 0U);
}

}  // namespace
}  // namespace rankwright::visit
