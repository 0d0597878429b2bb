// The order of the mutes at a mixture, as technicians work (common practice, no source).
#include "visit/mixture_run.h"

#include <gtest/gtest.h>

namespace rankwright::visit {
namespace {

struct MixtureRunTest : testing::Test {
    organ::Instrument instrument = [] {
        organ::Stop stop;
        stop.id = "mixture";
        stop.name = "Mixture";
        stop.makes = {{1, {}}};
        organ::Composition low{1, {}}, high{13, {}};
        for (const char* feet : {"2", "1 1/3", "1"})
            low.rows.push_back(*organ::parse_footage(feet));
        for (const char* feet : {"2 2/3", "2", "1 1/3", "1 1/3"})
            high.rows.push_back(*organ::parse_footage(feet));
        stop.composition = {low, high};
        organ::Division great;
        great.id = great.name = "great";
        great.chest = organ::ChestArrangement::sides_tall_out;
        great.stops = {stop};
        organ::Instrument made;
        made.divisions = {great};
        return made;
    }();
    visit::Run run{instrument, organ::find_stop(instrument, "Mixture").value(), {}, {Job::mixture}};
    MixtureRun order{run};

    PipeId pipe(int row, int key) const { return {"great", "mixture", row, key}; }
};

TEST_F(MixtureRunTest, GoesKeyByKeyAndRowByRowWithAllOthersMuted) {
    EXPECT_EQ(run.pipe().id, pipe(1, 1));
    EXPECT_EQ(order.mutes(), (std::set<PipeId>{pipe(2, 1), pipe(3, 1)}));
    EXPECT_EQ(order.moves().in.size(), 2U);
    ASSERT_TRUE(order.next());
    EXPECT_EQ(run.pipe().id, pipe(2, 1));
    EXPECT_EQ(order.moves().in, std::vector<PipeId>{pipe(1, 1)});
    EXPECT_EQ(order.moves().out, std::vector<PipeId>{pipe(2, 1)});
    ASSERT_TRUE(order.next());
    ASSERT_TRUE(order.next());
    // The C side goes on with D: two semitones up.
    EXPECT_EQ(run.pipe().id, pipe(1, 3));
    EXPECT_EQ(order.mutes(), (std::set<PipeId>{pipe(2, 3), pipe(3, 3)}));
    ASSERT_TRUE(order.back());
    EXPECT_EQ(run.pipe().id, pipe(3, 1));
}

TEST_F(MixtureRunTest, BeyondABreakTheRowsOfThatKeyAreMutedAlsoADoubledPitch) {
    ASSERT_TRUE(run.go_to(13));
    order.follow_run();
    EXPECT_EQ(order.mutes(), (std::set<PipeId>{pipe(2, 13), pipe(3, 13), pipe(4, 13)}));
    const tuning::KeyExpectation expected = order.expectation();
    ASSERT_EQ(expected.pipes.size(), 4U);
    // 2 2/3 feet on middle-octave C: three times the unison (f = 8 / feet), and so on up.
    EXPECT_NEAR(expected.targets[0] / expected.targets[1], 3.0 / 4.0, 1e-12);
    EXPECT_NEAR(expected.targets[2] / expected.targets[3], 1.0, 1e-12);
}

TEST_F(MixtureRunTest, HeardWholeItGoesToThePipesThatAreOffTheWorstFirst) {
    order.hear_whole();
    EXPECT_TRUE(order.mutes().empty());
    tuning::MixtureKeyState state;
    state.suspects = {2, 0};
    order.follow(state);
    ASSERT_TRUE(order.next());
    EXPECT_EQ(run.pipe().id, pipe(3, 1));
    EXPECT_EQ(order.mutes().size(), 2U);
    ASSERT_TRUE(order.next());
    EXPECT_EQ(run.pipe().id, pipe(1, 1));
    ASSERT_TRUE(order.next());
    EXPECT_EQ(run.pipe().key, 3);
    EXPECT_TRUE(order.none_muted());
    order.follow({});
    ASSERT_TRUE(order.next());
    EXPECT_EQ(run.pipe().key, 5) << "nothing was off";
}

}  // namespace
}  // namespace rankwright::visit
