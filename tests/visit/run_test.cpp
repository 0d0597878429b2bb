#include "visit/run.h"

#include "support/small_organ.h"

#include <chrono>
#include <cmath>
#include <set>
#include <string>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::visit {
namespace run_test {

using testing::small_organ;

struct RunTest : ::testing::Test {
    organ::Instrument instrument = small_organ();
    organ::StopRef stop = organ::find_stop(instrument, "Great/Principal 8").value();
    visit::Run run{instrument, stop, {}};

    tuning::PipeState stands(Cents off, tuning::Stage stage) const {
        tuning::PipeState state;
        state.stage = stage;
        state.tone = 1;
        state.deviation = off;
        state.pitch = transpose(Hertz{262.0}, off);
        state.uncertainty = Cents{0.1};
        state.heard = Seconds{2.0};
        return state;
    }
    tuning::PipeState other_key_sounds(int key) const {
        tuning::PipeState state;
        state.stage = tuning::Stage::settled;
        state.wrong_key = key;
        state.tone = 2;
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

// Common practice, no source: what was begun at one A today is finished at it; another day has its
// own.
TEST_F(RunTest, GoesOnAtTheVisitsOwnPitchUntilItIsOld) {
    const WallTime morning{std::chrono::hours(480000)};
    run.tell_time({Seconds{0.0}, morning});
    run.note_day();
    EXPECT_FALSE(run.day().pitch);
    run.set_pitch(Hertz{438.0});
    run.tell_time({Seconds{60.0}, morning + std::chrono::minutes(1)});
    run.set_pitch(Hertz{441.3});
    const auto gone_on = [&](std::chrono::minutes later, organ::Day day) {
        visit::Run again(instrument, stop, std::move(day), {}, Record(run.record().entries()));
        again.tell_time({Seconds{0.0}, morning + later});
        again.note_day();
        return std::pair(again.day().pitch, again.take_owed().size());
    };
    const auto [pitch, noted] = gone_on(std::chrono::minutes(50), {});
    ASSERT_TRUE(pitch);
    EXPECT_DOUBLE_EQ(pitch->value(), 441.3);
    EXPECT_EQ(noted, 0U) << "it is in the book";
    organ::Day given;
    given.pitch = Hertz{440.7};
    EXPECT_DOUBLE_EQ(gone_on(std::chrono::minutes(50), given).first->value(), 440.7);
    EXPECT_FALSE(gone_on(std::chrono::hours(20), {}).first);
}

// A fifth that is borrowed stands where its owner's pipes stand, not where its own keys would.
TEST(BorrowedRun, WalksAlongItsOwnersPipes) {
    organ::Instrument instrument = small_organ();
    organ::Stop quint;
    quint.id = "quint-5-1-3";
    quint.name = "Quint 5 1/3′";
    quint.footage = *organ::parse_footage("5 1/3");
    quint.last_key = 54;
    quint.borrowed = organ::Borrowed{"great", "principal-8"};
    instrument.divisions[0].stops.push_back(quint);
    const visit::Run run(instrument, organ::find_stop(instrument, "Quint 5 1/3").value(), {});
    ASSERT_EQ(run.pipes().size(), 54U);
    ASSERT_GT(run.other_side(), 0U);
    for (std::size_t i = 0; i < run.pipes().size(); ++i) {
        const bool c_side = run.pipes()[i].id.key % 2 == 1;
        EXPECT_EQ(c_side, i < run.other_side()) << i;
        if (i > 0) {
            EXPECT_NE(run.pipes()[i].key, run.pipes()[i - 1].key) << "no pipe twice";
        }
    }
    EXPECT_EQ(run.pipes().front().id.key, 9) << "the lowest on the C side: G♯, played by C♯";
}

TEST_F(RunTest, AStopTakenUpAgainIsAsItWasLeft) {
    organ::Stop octave = instrument.divisions[0].stops[0];
    octave.id = "octave-4";
    octave.name = "Octave 4′";
    octave.footage = *organ::parse_footage("4");
    instrument.divisions[0].stops.push_back(octave);
    visit::Run both(instrument, organ::find_stop(instrument, "Principal 8").value(), {});
    both.set_pitch(Hertz{442.0});
    both.next();
    both.follow(stands(Cents{0.1}, tuning::Stage::settled));
    const PipeId left_at = both.pipe().id;

    both.take(organ::find_stop(instrument, "Octave 4").value());
    EXPECT_EQ(both.pipe().id.stop, "octave-4");
    EXPECT_EQ(both.settled_count(), 0U);
    EXPECT_EQ(both.day().pitch, Hertz{442.0}) << "the day is the same";
    both.take(organ::find_stop(instrument, "Principal 8").value());
    EXPECT_EQ(both.pipe().id, left_at);
    EXPECT_EQ(both.settled_count(), 1U);
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

// The helper takes a key that wasn't called: what goes on sounding is followed, in another tone
// than the pipe's own. How long: common practice, no source.
TEST_F(RunTest, FollowsAKeyOutOfOrderAndSaysWhatWasLeftOpen) {
    const auto at = [&](double s) { run.tell_time({Seconds{s}, WallTime{}}); };
    at(1.0);
    const std::string first = run.pipe().note;
    run.follow(stands(Cents{6.0}, tuning::Stage::reading));
    tuning::PipeState other = other_key_sounds(run.pipes()[4].key);
    other.stage = tuning::Stage::wrong_key;
    at(2.0);
    EXPECT_FALSE(run.follow(other)) << "it may be a slip of the finger";
    at(2.9);
    EXPECT_FALSE(run.follow(other));
    at(4.0);
    EXPECT_TRUE(run.follow(other));
    EXPECT_EQ(run.current(), 4U);
    ASSERT_TRUE(run.left_open());
    EXPECT_EQ(run.left_open()->note, first);
    EXPECT_EQ(run.open_count(), 1U);
    EXPECT_EQ(run.record().of(run.pipes()[0].id).list, ListState::open);
    at(15.0);
    EXPECT_FALSE(run.left_open()) << "said long enough";
}

TEST_F(RunTest, APipePulledFarByItsWireIsNoOtherKey) {
    run.tell_time({Seconds{1.0}, WallTime{}});
    run.follow(stands(Cents{6.0}, tuning::Stage::reading));
    tuning::PipeState far = other_key_sounds(run.pipes()[1].key);
    far.stage = tuning::Stage::wrong_key;
    far.tone = 1;  // the same tone, moved
    for (double s = 1.0; s < 8.0; s += 0.1) {
        run.tell_time({Seconds{s}, WallTime{}});
        EXPECT_FALSE(run.follow(far));
    }
}

TEST_F(RunTest, TheNoteThatWasLeftMayRingOn) {
    run.tell_time({Seconds{1.0}, WallTime{}});
    run.follow(stands(Cents{6.0}, tuning::Stage::reading));
    const int left = run.pipe().key;
    EXPECT_TRUE(run.next());
    tuning::PipeState rings = other_key_sounds(left);
    rings.stage = tuning::Stage::wrong_key;
    rings.tone = 1;
    for (double s = 1.0; s < 5.0; s += 0.1) {
        run.tell_time({Seconds{s}, WallTime{}});
        EXPECT_FALSE(run.follow(rings));
    }
}

TEST_F(RunTest, KeepsAsFoundAndAsLeftAndGoesOnAfterARestart) {
    const PipeId pipe = run.pipe().id;
    run.follow(stands(Cents{6.0}, tuning::Stage::reading));
    ASSERT_TRUE(run.record().of(pipe).before);
    run.follow(stands(Cents{1.0}, tuning::Stage::moving));
    run.follow(stands(Cents{0.2}, tuning::Stage::settled));
    ASSERT_TRUE(run.record().of(pipe).after);
    EXPECT_FALSE(run.record().kept(pipe)) << "not before the book has it";
    run.next();
    run.set_out_of_reach(true);
    run.note_fault("off speech", "ears bent");
    const std::vector<BookEntry> book = run.take_owed();
    run.acknowledge(book.back().serial);
    EXPECT_TRUE(run.record().kept(pipe));
    EXPECT_TRUE(run.take_owed().empty());

    const visit::Run again(instrument, stop, {}, {}, Record{book});
    EXPECT_EQ(again.settled_count(), 1U);
    EXPECT_EQ(again.current(), 2U) << "at the first that is left to do and can be reached";
    EXPECT_DOUBLE_EQ(again.outcomes()[0].first->value(), 6.0);
    EXPECT_DOUBLE_EQ(again.outcomes()[0].last->value(), 0.2);
    EXPECT_TRUE(again.record().of(again.pipes()[1].id).out_of_reach);
    EXPECT_EQ(again.record().of(again.pipes()[1].id).faults.at(0).fault, "off speech");
}

// A survey plays the rank to its end; tuning begins where one walks first.
TEST_F(RunTest, BeginsAtTheFirstPipeAfterASurveyToo) {
    Record surveyed;
    for (const organ::Pipe& pipe : organ::pipes(stop)) {
        KeptReading reading;
        reading.pipe = pipe.id;
        reading.moment = Moment::survey;
        reading.pitch = reading.target = Hertz{440.0};
        surveyed.add({}, reading);
    }
    const visit::Run begun(instrument, stop, {}, {}, std::move(surveyed));
    EXPECT_EQ(begun.current(), 0U);
}

TEST_F(RunTest, PassesOverWhatIsOutOfReach) {
    run.next();
    run.set_out_of_reach(true);
    run.next();
    EXPECT_EQ(run.current(), 2U);
    run.back();
    EXPECT_EQ(run.current(), 0U);
}

// A pipe warm from the hand falls as it cools; how long that takes: from memory. What it fell by is
// added the next time, so that it stands right when cool.
TEST_F(RunTest, AHandledPipeIsHeardAgainWhenItHasCooledAndLeftHigherTheNextTime) {
    const auto at = [&](double s) { run.tell_time({Seconds{s}, WallTime{}}); };
    run.go_to(37);  // small enough to be warmed by a touch
    const std::size_t here = run.current();
    const PipeId pipe = run.pipe().id;
    const Hertz target = run.expectation().target;
    const auto tuned = [&](double from, double to, double began_s) {
        at(began_s);
        run.follow(stands(Cents{from}, tuning::Stage::reading));
        at(began_s + 1.0);
        run.follow(stands(Cents{(from + to) / 2.0}, tuning::Stage::moving));
        at(began_s + 3.0);
        run.follow(stands(Cents{to}, tuning::Stage::settled));
    };
    tuned(6.0, 0.1, 10.0);
    while (run.next()) {
    }
    EXPECT_EQ(run.again_count(), 1U);
    EXPECT_EQ(run.record().of(pipe).list, ListState::hear_again);
    at(100.0);
    EXPECT_FALSE(run.next()) << "still warm";
    at(400.0);
    ASSERT_TRUE(run.next());
    EXPECT_EQ(run.current(), here);
    run.follow(stands(Cents{-1.4}, tuning::Stage::reading));
    EXPECT_NEAR(run.warmth().by.value(), 0.0, 1e-9) << "cool as it stands";
    at(401.0);
    EXPECT_TRUE(run.follow(stands(Cents{-0.5}, tuning::Stage::moving))) << "another target now";
    // One touch then, one now.
    EXPECT_NEAR(run.warmth().by.value(), 1.5, 1e-6);
    EXPECT_NEAR(interval(target, run.expectation().target).value(), 1.5, 1e-6);
    at(403.0);
    run.follow(stands(Cents{0.0}, tuning::Stage::settled));
    EXPECT_NEAR(run.record().of(pipe).after->deviation.value(), 1.5, 1e-6)
        << "the book has it from the plain target";
    run.back();
    at(800.0);
    run.go_to(37);
    run.follow(stands(Cents{0.1}, tuning::Stage::settled));
    EXPECT_NEAR(run.warmth().by.value(), 0.0, 1e-9);
    run.back();
    EXPECT_EQ(run.record().of(pipe).list, ListState::done);
    EXPECT_EQ(run.again_count(), 0U);
}

// The last pipe in hand is done, another still cools: there is nothing to do but wait, and what the
// one in hand does meanwhile, held for minutes, doesn't open it again.
TEST_F(RunTest, WhileOthersCoolThePipeInHandStaysDone) {
    const auto at = [&](double s) { run.tell_time({Seconds{s}, WallTime{}}); };
    for (const organ::Pipe& pipe : run.pipes())
        if (pipe.key != 1 && pipe.key != 37) run.note(OutOfReach{pipe.id, true});
    run.go_to(37);
    at(10.0);
    run.follow(stands(Cents{6.0}, tuning::Stage::reading));
    at(11.0);
    run.follow(stands(Cents{3.0}, tuning::Stage::moving));
    at(13.0);
    run.follow(stands(Cents{0.1}, tuning::Stage::settled));
    run.go_to(1);
    at(20.0);
    run.follow(stands(Cents{0.2}, tuning::Stage::reading));
    at(22.0);
    run.follow(stands(Cents{0.2}, tuning::Stage::settled));
    EXPECT_FALSE(run.wait()) << "it isn't left yet";
    EXPECT_FALSE(run.next());
    const PipeId here = run.pipe().id;
    EXPECT_EQ(run.record().of(here).list, ListState::done);
    ASSERT_TRUE(run.wait());
    EXPECT_GT(run.wait()->left.count(), 200.0);
    at(30.0);
    run.follow(stands(Cents{0.8}, tuning::Stage::reading));
    run.next();
    EXPECT_EQ(run.record().of(here).list, ListState::done);
    EXPECT_EQ(run.open_count(), 0U);
    // A pipe that is known to be dead leaves as little to do.
    run.go_to(2);
    run.set_out_of_reach(false);
    EXPECT_FALSE(run.wait());
    run.note_fault("dead", "");
    EXPECT_TRUE(run.wait());
    at(400.0);
    EXPECT_FALSE(run.wait());
    EXPECT_TRUE(run.next());
    EXPECT_EQ(run.pipe().key, 37);
}

TEST_F(RunTest, UndoTakesBackWhatWasKeptLastAndGoesThere) {
    const PipeId pipe = run.pipe().id;
    const auto at = [&](int ms) {
        run.tell_time({Seconds{ms / 1000.0}, WallTime{std::chrono::milliseconds{ms}}});
    };
    at(1000);
    run.follow(stands(Cents{6.0}, tuning::Stage::reading));
    at(3000);
    run.follow(stands(Cents{0.2}, tuning::Stage::settled));
    at(5000);
    run.next();
    ASSERT_EQ(run.record().of(pipe).list, ListState::done);
    at(6000);
    EXPECT_TRUE(run.undo()) << "that it is done, as it was left";
    EXPECT_EQ(run.pipe().id, pipe);
    EXPECT_EQ(run.settled_count(), 0U);
    EXPECT_FALSE(run.record().of(pipe).after);
    EXPECT_TRUE(run.undo()) << "as it was found";
    EXPECT_FALSE(run.record().of(pipe).before);
    EXPECT_FALSE(run.undo());
}

// What is moved changes. Half a minute: common practice, no source.
TEST_F(RunTest, APipeThatIsToBeMovedAndStaysWhereItIsIsntHeard) {
    const auto tell = [&](double at_s, double off) {
        run.tell_time({Seconds{at_s}, {}});
        tuning::PipeState state = stands(Cents{off}, tuning::Stage::reading);
        state.advice = organ::Movement{};
        run.follow(state);
    };
    for (int s = 0; s <= 29; ++s)
        tell(s, 27.0 + 0.3 * (s % 2));
    EXPECT_FALSE(run.is_unanswered());
    tell(31.0, 27.0);
    EXPECT_TRUE(run.is_unanswered());
    tell(32.0, 24.0);
    EXPECT_FALSE(run.is_unanswered());
    for (int s = 33; s <= 70; ++s)
        tell(s, 24.0);
    EXPECT_TRUE(run.is_unanswered());
    EXPECT_FALSE(run.outcomes()[run.current()].settled);
    run.next();
    EXPECT_FALSE(run.is_unanswered());
    EXPECT_EQ(run.open_count(), 1U);
}

// Nodes of a standing wave lie half a wave apart, 17 cm at 1 kHz and 340 m/s: there a hand's
// breadth tells a silent pipe from one that isn't heard where the microphone stands.
TEST_F(RunTest, ATrebleThatIsntHeardIsHeardAgainElsewhereBeforeItIsCalledDead) {
    double now_s = 0.0;
    const auto hear = [&](tuning::Stage stage, double seconds) {
        for (const double until = now_s + seconds; now_s < until; now_s += 0.5) {
            run.tell_time({Seconds{now_s}, {}});
            run.follow(stands(Cents{2.0}, stage));
        }
    };
    const auto key_near = [&](double hz) {
        for (const organ::Pipe& pipe : run.pipes())
            if (std::abs(interval(Hertz{hz}, run.target_of(pipe)).value()) < 60.0) return pipe.key;
        return 0;
    };
    ASSERT_TRUE(run.go_to(key_near(1300.0)));
    hear(tuning::Stage::waiting, 3.0);
    EXPECT_FALSE(run.unheard().asks_to_move()) << "the helper may still look for the key";
    EXPECT_TRUE(run.unheard().may_be_in_node());
    hear(tuning::Stage::waiting, 4.0);
    EXPECT_TRUE(run.unheard().asks_to_move());
    EXPECT_TRUE(run.unheard().may_be_in_node());
    hear(tuning::Stage::waiting, 8.0);
    EXPECT_FALSE(run.unheard().may_be_in_node()) << "heard a second time";
    ASSERT_TRUE(run.go_to(key_near(1500.0)));
    hear(tuning::Stage::reading, 2.0);
    hear(tuning::Stage::waiting, 8.0);
    EXPECT_FALSE(run.unheard().asks_to_move()) << "it was heard, and its key let go";
    EXPECT_FALSE(run.unheard().may_be_in_node());
    ASSERT_TRUE(run.go_to(key_near(500.0)));
    hear(tuning::Stage::waiting, 8.0);
    EXPECT_FALSE(run.unheard().asks_to_move()) << "half a wave is 34 cm";
    EXPECT_FALSE(run.unheard().may_be_in_node());
}

}  // namespace run_test
}  // namespace rankwright::visit
