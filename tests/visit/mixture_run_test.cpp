// The order of the mutes at a mixture, as technicians work (common practice, no source).
#include "visit/mixture_run.h"

#include <gtest/gtest.h>

namespace rankwright::visit {
namespace mixture_run_test {

struct MixtureRunTest : ::testing::Test {
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

tuning::PipeState stands(Cents off, tuning::Stage stage) {
    tuning::PipeState state;
    state.stage = stage;
    state.tone = 1;
    state.deviation = off;
    state.pitch = transpose(Hertz{262.0}, off);
    state.uncertainty = Cents{0.1};
    state.heard = Seconds{2.0};
    return state;
}

// As with one pipe at a time: a pipe that is done isn't gone to again, one that was warm from the
// hand is, when it has cooled (common practice, no source).
TEST_F(MixtureRunTest, PassesOverPipesThatAreDoneAndComesBackToThoseThatHaveCooled) {
    const auto at = [&](double s) { run.tell_time({Seconds{s}, WallTime{}}); };
    ASSERT_TRUE(run.go_to(pipe(2, 1)));
    order.follow_run();
    at(10.0);
    run.follow(stands(Cents{6.0}, tuning::Stage::reading));
    at(11.0);
    run.follow(stands(Cents{3.0}, tuning::Stage::moving));
    at(13.0);
    run.follow(stands(Cents{0.1}, tuning::Stage::settled));
    ASSERT_TRUE(run.go_to(pipe(1, 1)));
    order.follow_run();
    ASSERT_EQ(run.record().of(pipe(2, 1)).list, ListState::hear_again);
    ASSERT_TRUE(order.next());
    EXPECT_EQ(run.pipe().id, pipe(3, 1)) << "row 2 is tuned";
    while (order.next()) {
    }
    EXPECT_NE(run.pipe().key, 1);
    at(400.0);
    ASSERT_TRUE(order.next());
    EXPECT_EQ(run.pipe().id, pipe(2, 1));
    EXPECT_EQ(order.mutes(), (std::set<PipeId>{pipe(1, 1), pipe(3, 1)}));
}

TEST_F(MixtureRunTest, GoesOnToTheNextOfTheStopsToBeTuned) {
    organ::Stop sharp = instrument.divisions[0].stops[0];
    sharp.id = "sharp";
    sharp.name = "Sharp";
    instrument.divisions[0].stops.push_back(sharp);
    visit::Run both{instrument,
                    organ::find_stop(instrument, "Mixture").value(),
                    {},
                    {Job::mixture, false, {{"great", "mixture"}, {"great", "sharp"}}}};
    MixtureRun through(both);
    for (int moves = 0; both.pipe().id.stop == "mixture" && moves < 500; ++moves)
        ASSERT_TRUE(through.next());
    EXPECT_EQ(both.pipe().id, (PipeId{"great", "sharp", 1, 1}));
    EXPECT_EQ(through.mutes(),
              (std::set<PipeId>{{"great", "sharp", 2, 1}, {"great", "sharp", 3, 1}}));
}

}  // namespace mixture_run_test
}  // namespace rankwright::visit
