#include "visit/run.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <cstdlib>
#include <map>
#include <set>
#include <string>
#include <utility>

#include <gtest/gtest.h>

namespace rankwright::visit {
namespace run_test {

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

/// A Great of a 4′ and what is tuned from it; the Swell's celeste; a clarion in octaves to itself.
organ::Instrument organ_with_references() {
    organ::Instrument instrument = small_organ();
    organ::Division& great = instrument.divisions.front();
    const auto stop = [](const char* id, const char* name, const char* feet) {
        organ::Stop made;
        made.id = id;
        made.name = name;
        made.footage = organ::parse_footage(feet).value();
        made.makes = {{1, {}}};
        return made;
    };
    organ::Stop octave = stop("octave-4", "Octave 4′", "4");
    organ::Stop clarion = stop("clarion-4", "Clarion 4′", "4");
    clarion.tuned_from = {{1, "great", "octave-4", 0}, {13, "great", "clarion-4", -12}};
    great.stops.front().tuned_from = {{1, "great", "octave-4", 0}};
    organ::Division swell;
    swell.id = "swell";
    swell.name = "Swell";
    organ::Stop celeste = stop("celeste-8", "Celeste 8′", "8");
    celeste.tuned_from = {{1, "great", "principal-8", 0}};
    celeste.celeste = organ::Celeste{"great", "principal-8", {{1, Hertz{2.0}}}};
    swell.stops = {celeste};
    great.stops.push_back(octave);
    great.stops.push_back(clarion);
    instrument.divisions.push_back(swell);
    return instrument;
}

struct ReferenceRunTest : ::testing::Test {
    organ::Instrument instrument = organ_with_references();
    visit::Run run_of(const char* name, organ::Day day = {},
                      RunOptions options = {Job::from_reference}) {
        return {instrument, organ::find_stop(instrument, name).value(), std::move(day), options};
    }
    /// The pipe's reference was heard `off` its target at A 440, with the pipe itself `stage`.
    static tuning::PairedState heard(const visit::Run& run, Cents off, tuning::Stage stage) {
        tuning::PairedState state;
        state.pipe.stage = stage;
        state.pipe.deviation = Cents{0.1};
        const organ::Pipe reference = run.paired_expectation()->reference.pipe;
        state.reference = transpose(organ::target(run.instrument(), reference, {}), off);
        state.reference_deviation = off;
        state.reference_uncertainty = Cents{0.05};
        return state;
    }
};

// An 8′ pipe's second partial meets the first of the 4′ on the same key: pipe lengths 2:1.
TEST_F(ReferenceRunTest, AnEightFootIsTunedFromTheFourFootOnTheSameKey) {
    visit::Run run = run_of("Principal 8");
    run.go_to(25);
    const auto expected = run.paired_expectation();
    ASSERT_TRUE(expected);
    EXPECT_EQ(expected->reference.pipe.stop, "Octave 4′");
    EXPECT_EQ(expected->reference.pipe.key, 25);
    EXPECT_EQ(expected->reference.reference_partial, 1);
    EXPECT_EQ(expected->reference.pipe_partial, 2);
    EXPECT_NEAR(expected->reference.beat.value(), 0.0, 1e-9);
    EXPECT_NEAR(expected->reference_target.value(), 523.2511, 1e-3);  // MIDI standard, A 440
    EXPECT_FALSE(expected->day_known);
    const Call call = run.call();
    EXPECT_EQ(call.stops, (std::vector<std::string>{"Octave 4′", "Principal 8′"}));
    EXPECT_EQ(call.key.note, "middle C");
    EXPECT_FALSE(call.also);
}

TEST_F(ReferenceRunTest, ToTargetKnowsNoReferenceAndNeitherDoesTheReferenceRankItself) {
    const visit::Run plain = run_of("Principal 8", {}, {});
    EXPECT_FALSE(plain.paired_expectation());
    EXPECT_EQ(plain.call().stops, std::vector<std::string>{"Principal 8′"});
    EXPECT_FALSE(run_of("Octave 4").paired_expectation());
}

// Reeds in octaves to themselves above their first octave: common practice, no source.
TEST_F(ReferenceRunTest, OctavesToItselfCallForTwoKeysOfOneStop) {
    visit::Run run = run_of("Clarion 4");
    run.go_to(5);
    EXPECT_FALSE(run.call().also);
    EXPECT_EQ(run.call().stops.size(), 2U);
    run.go_to(25);
    ASSERT_TRUE(run.call().also);
    EXPECT_EQ(run.call().key.key, 25);
    EXPECT_EQ(run.call().also->key, 13);
    EXPECT_EQ(run.call().stops, std::vector<std::string>{"Clarion 4′"});
    EXPECT_EQ(run.paired_expectation()->reference.reference_partial, 2);
    EXPECT_EQ(run.paired_expectation()->reference.pipe_partial, 1);
}

TEST_F(ReferenceRunTest, AnotherDivisionsReferenceIsCalledWithItsDivision) {
    visit::Run run = run_of("Celeste 8");
    run.go_to(25);
    EXPECT_EQ(run.call().stops, (std::vector<std::string>{"Great · Principal 8′", "Celeste 8′"}));
    ASSERT_TRUE(run.call().also);
    EXPECT_EQ(run.call().also->division, "Great");
    EXPECT_NEAR(run.paired_expectation()->reference.beat.value(), 2.0, 1e-9) << "the file's beat";
}

// Flues rise 2.95 cents a kelvin at 20 °C (ISO 9613-1:1993, A.5): in a Swell 2 K warmer than the
// reference a pipe must stand 5.9 cents sharp to agree when both are alike.
TEST_F(ReferenceRunTest, CompensationChangesTheBeatWhenAskedFor) {
    organ::Day day;
    day.temperature = Celsius{20.0};
    day.places = {{"swell", Celsius{22.0}}};
    visit::Run plain = run_of("Celeste 8", day);
    visit::Run compensated = run_of("Celeste 8", day, {Job::from_reference, true});
    for (visit::Run* run : {&plain, &compensated})
        run->go_to(25);
    EXPECT_FALSE(plain.compensation());
    ASSERT_TRUE(compensated.compensation());
    const double extra = compensated.paired_expectation()->reference.beat.value() - 2.0;
    EXPECT_NEAR(plain.paired_expectation()->reference.beat.value(), 2.0, 1e-9);
    EXPECT_NEAR(extra, 263.6 * std::log(2.0) / 1200.0 * 5.9, 0.02);
}

TEST_F(ReferenceRunTest, ReferencesThatAgreeTellTodaysPitchAndATypedOneStands) {
    visit::Run run = run_of("Principal 8");
    for (const double off : {4.0, 4.3, 3.8, 4.1}) {
        run.follow(heard(run, Cents{off}, tuning::Stage::settled));
        run.next();
    }
    ASSERT_TRUE(run.day().pitch);
    EXPECT_NEAR(interval(Hertz{440.0}, *run.day().pitch).value(), 4.05, 0.2);
    EXPECT_TRUE(run.paired_expectation()->day_known);
    EXPECT_NEAR(run.outcomes()[1].reference->value(), 4.3, 1e-9);

    organ::Day typed;
    typed.pitch = Hertz{441.0};
    visit::Run given = run_of("Principal 8", typed);
    for (const double off : {9.0, 9.1, 8.9}) {
        given.follow(heard(given, Cents{off}, tuning::Stage::settled));
        given.next();
    }
    EXPECT_DOUBLE_EQ(given.day().pitch->value(), 441.0);
}

// The references are heard again after the organ has warmed: what they rose, the pitch rises.
TEST_F(ReferenceRunTest, TheDaysPitchFollowsTheReferencesThatAreHeardAgain) {
    visit::Run run = run_of("Principal 8");
    const auto hear = [&](int key, double off, double at_s) {
        run.go_to(key);
        auto state = heard(run, Cents{off}, tuning::Stage::settled);
        state.at = Seconds{at_s};
        run.follow(state);
    };
    for (const int key : {1, 5, 9, 13})
        hear(key, 4.0, 10.0 * key);
    EXPECT_NEAR(interval(Hertz{440.0}, *run.day().pitch).value(), 4.0, 0.2);
    EXPECT_NEAR(run.pitch_today().drift().value(), 0.0, 1e-9);
    for (const int key : {1, 5, 9})
        hear(key, 6.5, 1800.0 + 10.0 * key);
    run.next();
    EXPECT_NEAR(interval(Hertz{440.0}, *run.day().pitch).value(), 6.5, 0.2);
    EXPECT_NEAR(run.pitch_today().drift().value(), 2.5, 0.1);
    run.set_pitch(Hertz{441.0});
    EXPECT_NEAR(run.day().pitch->value(), 441.0, 1e-9) << "typed now: the drift counts from here";
}

TEST_F(ReferenceRunTest, ReferencesThatDisagreeTellNothing) {
    visit::Run run = run_of("Principal 8");
    for (const double off : {-9.0, 7.0, 1.0, 14.0}) {
        run.follow(heard(run, Cents{off}, tuning::Stage::settled));
        run.next();
    }
    EXPECT_FALSE(run.day().pitch);
}

TEST_F(ReferenceRunTest, MovesOnWhenASettledPipesSuccessorSounds) {
    visit::Run run = run_of("Principal 8");
    EXPECT_FALSE(run.follow(heard(run, Cents{0.0}, tuning::Stage::settled)));
    tuning::PairedState next;
    next.pipe.stage = tuning::Stage::settled;
    next.pipe.wrong_key = run.pipes()[1].key;
    EXPECT_TRUE(run.follow(next));
    EXPECT_EQ(run.settled_count(), 1U);
}

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
