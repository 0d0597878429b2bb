// References before what is tuned from them, also when they were warm from the hand or are moved
// again. Common practice, no source.
#include "support/plain_rank.h"
#include "visit/run.h"
#include "visit/work_list.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::visit {
namespace run_references_test {

using testing::plain_rank;

struct RunReferences : ::testing::Test {
    RunReferences() {
        organ::Division great;
        great.id = "great";
        great.name = "Great";
        great.stops = {plain_rank("octave-4", "Octave 4′", "4"),
                       plain_rank("principal-8", "Principal 8′", "8", "octave-4")};
        instrument.divisions = {great};
        // Two keys of each are within reach.
        for (const organ::Pipe& pipe : organ::pipes(instrument))
            if (pipe.key != 37 && pipe.key != 38) record.add({}, OutOfReach{pipe.id, true});
    }
    visit::Run begin(bool only_listed = false) {
        RunOptions options;
        options.job = Job::from_reference;
        options.only_listed = only_listed;
        options.stops = {{"great", "octave-4"}, {"great", "principal-8"}};
        return {instrument, organ::find_stop(instrument, "Octave 4").value(), {}, options, record};
    }
    static PipeId pipe(const char* stop, int key) { return {"great", stop, 1, key}; }

    void at(visit::Run& run, double s) {
        now = s;
        run.tell_time({Seconds{s},
                       WallTime{std::chrono::milliseconds{static_cast<std::int64_t>(s * 1000.0)}}});
    }
    static tuning::PipeState stands(const visit::Run& run, Cents off, tuning::Stage stage) {
        tuning::PipeState state;
        state.stage = stage;
        state.tone = testing::tone_of(run.pipe());
        state.deviation = off;
        state.pitch = transpose(run.target_of(run.pipe()), off);
        state.uncertainty = Cents{0.1};
        state.heard = Seconds{2.0};
        return state;
    }
    /// The pipe in hand is heard, and moved from where it stood.
    void tune(visit::Run& run, Cents from, Cents to) {
        at(run, now + 1.0);
        run.follow(stands(run, from, tuning::Stage::reading));
        at(run, now + 1.0);
        run.follow(stands(run, (from + to) * 0.5, tuning::Stage::moving));
        at(run, now + 2.0);
        run.follow(stands(run, to, tuning::Stage::settled));
    }
    /// By beats it stands right, its reference so far from its own target.
    void tune_by_beats(visit::Run& run, Cents reference) {
        tuning::PairedState state;
        state.pipe = stands(run, Cents{0.1}, tuning::Stage::reading);
        state.reference_deviation = reference;
        state.reference = transpose(run.paired_expectation()->reference_target, reference);
        state.reference_uncertainty = Cents{0.1};
        for (const auto stage : {tuning::Stage::reading, tuning::Stage::settled}) {
            at(run, now + 2.0);
            state.pipe.stage = stage;
            run.follow(state);
        }
    }
    /// Why the list has a pipe; empty where it hasn't.
    std::string first_reason(const visit::Run& run, const PipeId& pipe) const {
        const WorkList list = work_list(instrument, run.record().entries());
        const auto listed =
            std::find_if(list.pipes.begin(), list.pipes.end(),
                         [&](const ListedPipe& one) { return one.pipe.id == pipe; });
        return listed == list.pipes.end() ? std::string() : listed->why.front();
    }

    organ::Instrument instrument;
    Record record;
    double now = 0.0;
};

TEST_F(RunReferences, APipeWaitsWhileItsReferenceCools) {
    visit::Run run = begin();
    ASSERT_EQ(run.pipe().id, pipe("octave-4", 37));
    tune(run, Cents{6.0}, Cents{0.1});
    ASSERT_TRUE(run.next());
    ASSERT_EQ(run.pipe().id, pipe("octave-4", 38));
    tune(run, Cents{0.1}, Cents{0.1});
    ASSERT_TRUE(run.next());
    EXPECT_EQ(run.pipe().id, pipe("principal-8", 38)) << "the reference of 37 is warm";
    tune_by_beats(run, Cents{0.1});
    EXPECT_FALSE(run.next()) << "nothing is left to do now";
    ASSERT_TRUE(run.wait());
    EXPECT_GT(run.wait()->left.count(), 200.0);
    at(run, 400.0);
    EXPECT_FALSE(run.wait());
    ASSERT_TRUE(run.next());
    EXPECT_EQ(run.pipe().id, pipe("octave-4", 37));
    tune(run, Cents{0.1}, Cents{0.1});
    ASSERT_TRUE(run.next());
    EXPECT_EQ(run.pipe().id, pipe("principal-8", 37));
    tune_by_beats(run, Cents{0.1});
    run.rest();
    EXPECT_EQ(run.record().of(pipe("principal-8", 37)).list, ListState::done);
    EXPECT_FALSE(run.wait());
}

// What a reference that was left open has wrong would be copied: it is tried once more before.
TEST_F(RunReferences, AReferenceThatWasLeftOpenIsTriedAgainBeforeWhatIsTunedFromIt) {
    visit::Run run = begin();
    const auto leave_open = [&] {
        at(run, now + 2.0);
        run.follow(stands(run, Cents{-9.0}, tuning::Stage::reading));
        return run.next();
    };
    ASSERT_EQ(run.pipe().id, pipe("octave-4", 37));
    ASSERT_TRUE(leave_open());
    ASSERT_TRUE(run.left_open());
    EXPECT_TRUE(run.left_open()->waited_for) << "said on the screen";
    ASSERT_EQ(run.pipe().id, pipe("octave-4", 38));
    tune(run, Cents{0.1}, Cents{0.1});
    ASSERT_TRUE(run.next());
    EXPECT_EQ(run.pipe().id, pipe("octave-4", 37));
    ASSERT_TRUE(leave_open());
    ASSERT_TRUE(run.left_open());
    EXPECT_FALSE(run.left_open()->waited_for);
    std::vector<PipeId> then;
    for (int i = 0; i < 2; ++i) {
        then.push_back(run.pipe().id);
        tune_by_beats(run, Cents{0.1});
        EXPECT_EQ(run.next(), i == 0) << "twice is enough, and nothing waits for ever";
    }
    EXPECT_THAT(then,
                ::testing::UnorderedElementsAre(pipe("principal-8", 37), pipe("principal-8", 38)));
}

TEST_F(RunReferences, OverTheListToo) {
    for (const char* stop : {"octave-4", "principal-8"})
        for (const int key : {37, 38})
            record.add({}, ListChange{pipe(stop, key), ListState::wanted});
    visit::Run run = begin(true);
    ASSERT_EQ(run.pipe().id, pipe("octave-4", 37));
    at(run, 2.0);
    run.follow(stands(run, Cents{-9.0}, tuning::Stage::reading));
    std::vector<PipeId> then;
    ASSERT_TRUE(run.next());
    while (then.size() < 4) {
        then.push_back(run.pipe().id);
        if (run.pipe().id.stop == "octave-4")
            tune(run, Cents{0.1}, Cents{0.1});
        else
            tune_by_beats(run, Cents{0.1});
        if (!run.next()) break;
    }
    EXPECT_THAT(then, ::testing::ElementsAre(pipe("octave-4", 38), pipe("principal-8", 38),
                                             pipe("octave-4", 37), pipe("principal-8", 37)));
}

// Which pipes were gone past, since their reference was warm, is known also after a new start.
TEST_F(RunReferences, WhatWaitedIsComeBackToAfterANewStart) {
    visit::Run run = begin();
    tune(run, Cents{6.0}, Cents{0.1});
    ASSERT_TRUE(run.next());
    tune(run, Cents{0.1}, Cents{0.1});
    ASSERT_TRUE(run.next());
    ASSERT_EQ(run.pipe().id, pipe("principal-8", 38)) << "37 waits for its reference";
    tune_by_beats(run, Cents{0.1});
    run.rest();
    record = Record(run.record().entries());
    visit::Run again = begin();
    at(again, 1.0);
    ASSERT_TRUE(again.next());
    EXPECT_EQ(again.pipe().id, pipe("octave-4", 37)) << "cool by now";
    tune(again, Cents{0.1}, Cents{0.1});
    ASSERT_TRUE(again.next());
    EXPECT_EQ(again.pipe().id, pipe("principal-8", 37));
}

// Of three ranks each is tuned from the one before; the middle one has cooled, and waits itself.
TEST_F(RunReferences, AReferenceThatWaitsForItsOwnIsNotGoneBackTo) {
    instrument.divisions.front().stops.push_back(
        plain_rank("gemshorn-4", "Gemshorn 4′", "4", "principal-8"));
    for (const char* stop : {"octave-4", "principal-8"})
        record.add({}, ListChange{pipe(stop, 37), ListState::hear_again});
    for (const organ::Pipe& one : organ::pipes(instrument))
        if (one.id.stop == "gemshorn-4" && one.key != 37 && one.key != 38)
            record.add({}, OutOfReach{one.id, true});
    RunOptions options;
    options.job = Job::from_reference;
    options.stops = {{"great", "octave-4"}, {"great", "principal-8"}, {"great", "gemshorn-4"}};
    visit::Run run(instrument, organ::find_stop(instrument, "Octave 4").value(), {}, options,
                   record);
    at(run, 1.0);
    ASSERT_TRUE(run.go_to_any(pipe("octave-4", 37)));
    tune(run, Cents{6.0}, Cents{0.1});  // warm anew
    ASSERT_TRUE(run.go_to_any(pipe("principal-8", 38)));
    tune_by_beats(run, Cents{0.1});
    ASSERT_TRUE(run.go_to_any(pipe("gemshorn-4", 38)));
    tune_by_beats(run, Cents{0.1});
    EXPECT_NE(run.next_stop().has_value() ? run.next_stop()->stop->id : "", "principal-8");
    at(run, now + 400.0);
    ASSERT_TRUE(run.next());
    EXPECT_EQ(run.pipe().id.stop, "octave-4");
}

// Tuned from a pipe that is itself off, it stands where that has it, and so will what is tuned from
// it: alone it is put where both beat as they should.
TEST_F(RunReferences, OfThreeRanksTheLastIsTunedAloneToWhereTheMiddleOneReallyStands) {
    instrument.divisions.front().stops.push_back(
        plain_rank("gemshorn-4", "Gemshorn 4′", "4", "principal-8"));
    for (const bool middle_alone : {false, true}) {
        visit::Run run = begin();
        ASSERT_TRUE(run.go_to_any(pipe("octave-4", 37)));
        for (int look = 0; look < 2; ++look) {
            at(run, now + 2.0);
            run.follow(stands(run, Cents{-0.45}, tuning::Stage::settled));
        }
        ASSERT_TRUE(run.go_to_any(pipe("principal-8", 37)));
        if (middle_alone) {
            run.hear_alone();
            for (int look = 0; look < 2; ++look) {
                at(run, now + 2.0);
                run.follow(stands(run, Cents{0.1}, tuning::Stage::settled));
            }
        } else {
            tune_by_beats(run, Cents{-0.45});
        }
        ASSERT_TRUE(run.go_to_any(pipe("gemshorn-4", 37)));
        const auto expected = run.paired_expectation();
        ASSERT_TRUE(expected);
        ASSERT_TRUE(expected->reference_before.pitch());
        const Cents stands_at =
            interval(expected->reference_target, *expected->reference_before.pitch());
        EXPECT_NEAR(stands_at.value(), -0.35, 0.02) << (middle_alone ? "alone" : "by beats");
    }
}

// One out of reach, as the survey read it (common practice, no source).
TEST_F(RunReferences, AReferenceIsLookedForWhereItWasReadLast) {
    KeptReading surveyed;
    surveyed.pipe = pipe("octave-4", 37);
    surveyed.moment = Moment::survey;
    surveyed.pitch = Hertz{2000.0};
    record.add({}, surveyed);
    visit::Run run = begin();
    at(run, 60.0);
    ASSERT_TRUE(run.go_to_any(pipe("principal-8", 37)));
    EXPECT_EQ(run.paired_expectation()->reference_seen, Hertz{2000.0});
    ASSERT_TRUE(run.go_to_any(pipe("principal-8", 38)));
    EXPECT_FALSE(run.paired_expectation()->reference_seen);
    at(run, 3.0 * 3600.0);
    ASSERT_TRUE(run.go_to_any(pipe("principal-8", 37)));
    EXPECT_FALSE(run.paired_expectation()->reference_seen) << "the air has changed since";
}

// What can't be heard again mustn't be waited for.
TEST_F(RunReferences, AReferenceThatCannotBeHeardAgainIsNotWaitedFor) {
    record.add({}, ListChange{pipe("octave-4", 37), ListState::hear_again});
    record.add({}, OutOfReach{pipe("octave-4", 37), true});
    visit::Run run = begin();
    ASSERT_TRUE(run.go_to_any(pipe("principal-8", 38)));
    tune_by_beats(run, Cents{0.1});
    ASSERT_TRUE(run.back());
    EXPECT_EQ(run.pipe().id, pipe("principal-8", 37));
}

TEST_F(RunReferences, ByTheListTooReferencesCoolFirst) {
    for (const char* stop : {"octave-4", "principal-8"})
        record.add({}, ListChange{pipe(stop, 37), ListState::wanted});
    record.add({}, ListChange{pipe("principal-8", 38), ListState::wanted});
    visit::Run run = begin(true);
    ASSERT_EQ(run.pipe().id, pipe("octave-4", 37));
    tune(run, Cents{6.0}, Cents{0.1});
    ASSERT_TRUE(run.next());
    EXPECT_EQ(run.pipe().id, pipe("principal-8", 38));
    tune_by_beats(run, Cents{0.1});
    EXPECT_FALSE(run.next());
    at(run, 400.0);
    ASSERT_TRUE(run.next());
    EXPECT_EQ(run.pipe().id, pipe("octave-4", 37));
    tune(run, Cents{0.1}, Cents{0.1});
    ASSERT_TRUE(run.next());
    EXPECT_EQ(run.pipe().id, pipe("principal-8", 37));
}

// Whatever sounds, or only wind, would be taken for the two of them.
TEST_F(RunReferences, WhatIsNotedAsDeadIsNotListenedForTogetherWithAnother) {
    visit::Run run = begin();
    ASSERT_TRUE(run.go_to_any(pipe("principal-8", 37)));
    ASSERT_TRUE(run.paired_expectation());
    EXPECT_EQ(run.call().stops.size(), 2U);
    run.note(Fault{pipe("octave-4", 37), "dead", ""});
    EXPECT_FALSE(run.paired_expectation());
    EXPECT_EQ(run.call().stops.size(), 1U);
    ASSERT_TRUE(run.dead_reference());
    EXPECT_EQ(run.dead_reference()->id, pipe("octave-4", 37));
    ASSERT_TRUE(run.go_to_any(pipe("principal-8", 38)));
    EXPECT_FALSE(run.dead_reference());
    ASSERT_TRUE(run.paired_expectation());
    run.note_fault("dead", "");
    EXPECT_FALSE(run.paired_expectation());
    // It was only stuffed, and speaks again.
    tune(run, Cents{0.2}, Cents{0.2});
    EXPECT_TRUE(run.paired_expectation());
}

// Tried once it isn't called again; by hand one can go there, and when it speaks it is worked at.
TEST_F(RunReferences, ADeadPipeIsTriedOnce) {
    record.add({}, Fault{pipe("octave-4", 37), "dead", ""});
    for (const char* stop : {"octave-4", "principal-8"})
        record.add({}, ListChange{pipe(stop, 37), ListState::wanted});
    for (const bool only_listed : {false, true}) {
        visit::Run run = begin(only_listed);
        at(run, 1.0);
        ASSERT_TRUE(run.go_to_any(pipe("octave-4", 37)));
        at(run, 10.0);
        ASSERT_TRUE(run.next());
        for (const auto& call : run.calls_ahead(10))
            EXPECT_FALSE(call.key.key == 37 && call.stops.front() == "Octave 4′") << only_listed;
        ASSERT_TRUE(run.go_to_any(pipe("principal-8", 37)));
        tune(run, Cents{0.1}, Cents{0.1});
        run.next();
        EXPECT_NE(run.pipe().id, pipe("octave-4", 37));
        ASSERT_TRUE(run.go_to_any(pipe("octave-4", 37)));
        tune(run, Cents{0.1}, Cents{0.1});
        run.rest();
        EXPECT_EQ(run.record().of(pipe("octave-4", 37)).list, ListState::done);
    }
}

// A copy of where the reference stood isn't right any more.
TEST_F(RunReferences, WhenAReferenceIsMovedWhatWasTunedFromItIsHeardAgain) {
    visit::Run run = begin();
    ASSERT_TRUE(run.go_to_any(pipe("principal-8", 37)));
    tune_by_beats(run, Cents{4.0});
    ASSERT_TRUE(run.go_to_any(pipe("principal-8", 38)));
    tune_by_beats(run, Cents{0.2});
    ASSERT_TRUE(run.go_to_any(pipe("octave-4", 38)));
    ASSERT_EQ(run.record().of(pipe("principal-8", 37)).list, ListState::done);
    tune(run, Cents{0.2}, Cents{0.1});
    ASSERT_TRUE(run.go_to_any(pipe("octave-4", 37)));
    EXPECT_EQ(run.record().of(pipe("principal-8", 38)).list, ListState::done) << "hardly moved";
    tune(run, Cents{4.0}, Cents{0.1});
    at(run, now + 1.0);
    ASSERT_TRUE(run.go_to_any(pipe("principal-8", 38)));
    EXPECT_EQ(run.record().of(pipe("principal-8", 37)).list, ListState::hear_again);
    EXPECT_TRUE(reference_moved_since(run.record(), pipe("principal-8", 37)));
    EXPECT_THAT(first_reason(run, pipe("principal-8", 37)),
                ::testing::HasSubstr("reference was moved"));
    // First the reference must cool, then both come by themselves.
    at(run, now + 400.0);
    ASSERT_TRUE(run.next());
    EXPECT_EQ(run.pipe().id, pipe("octave-4", 37));
    tune(run, Cents{0.1}, Cents{0.1});
    ASSERT_TRUE(run.next());
    EXPECT_EQ(run.pipe().id, pipe("principal-8", 37));
}

// Its reference may have been dead, or drew it.
TEST_F(RunReferences, APipeTunedAloneIsHeardAgainWhenItsReferenceIsMovedAfterwards) {
    visit::Run run = begin();
    for (const int key : {37, 38}) {
        ASSERT_TRUE(run.go_to_any(pipe("principal-8", key)));
        run.hear_alone();
        for (int look = 0; look < 2; ++look) {
            at(run, now + 2.0);
            run.follow(stands(run, Cents{0.1}, tuning::Stage::settled));
        }
    }
    ASSERT_TRUE(run.go_to_any(pipe("octave-4", 38)));
    tune(run, Cents{1.5}, Cents{1.4});
    ASSERT_TRUE(run.go_to_any(pipe("octave-4", 37)));
    tune(run, Cents{4.0}, Cents{0.1});
    ASSERT_TRUE(run.go_to_any(pipe("octave-4", 38)));
    EXPECT_EQ(run.record().of(pipe("principal-8", 38)).list, ListState::done) << "hardly moved";
    EXPECT_EQ(run.record().of(pipe("principal-8", 37)).list, ListState::hear_again);
    EXPECT_THAT(first_reason(run, pipe("principal-8", 37)),
                ::testing::HasSubstr("reference was moved"));
    // Heard again it stands: that is all.
    at(run, now + 400.0);
    ASSERT_TRUE(run.go_to_any(pipe("octave-4", 37)));
    tune(run, Cents{0.1}, Cents{0.1});
    ASSERT_TRUE(run.go_to_any(pipe("principal-8", 37)));
    at(run, now + 2.0);
    run.follow(stands(run, Cents{0.1}, tuning::Stage::settled));
    run.rest();
    EXPECT_EQ(run.record().of(pipe("principal-8", 37)).list, ListState::done);
}

// What settles and is left at once is known as it was found, and no more (common practice, no
// source).
TEST_F(RunReferences, APipeLeftAsSoonAsItSettledIsHeardAgainToo) {
    visit::Run run = begin();
    ASSERT_TRUE(run.go_to_any(pipe("principal-8", 37)));
    run.hear_alone();
    at(run, now + 2.0);
    run.follow(stands(run, Cents{0.1}, tuning::Stage::settled));
    ASSERT_TRUE(run.go_to_any(pipe("octave-4", 37)));
    ASSERT_EQ(run.record().of(pipe("principal-8", 37)).list, ListState::done);
    ASSERT_FALSE(run.record().of(pipe("principal-8", 37)).after);
    tune(run, Cents{4.0}, Cents{0.1});
    ASSERT_TRUE(run.go_to_any(pipe("octave-4", 38)));
    EXPECT_EQ(run.record().of(pipe("principal-8", 37)).list, ListState::hear_again);
}

}  // namespace run_references_test
}  // namespace rankwright::visit
