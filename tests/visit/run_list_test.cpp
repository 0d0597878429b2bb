// The run over the work list. In which order pipes are gone to is the trade's (common practice, no
// source).
#include "support/plain_rank.h"
#include "visit/run.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::visit {
namespace run_list_test {

using ::testing::ElementsAre;
using ::testing::IsEmpty;

// A reed's warmth from the hand is nothing to wait for.
organ::Stop reed(const char* id, const char* name, const char* feet, const char* from = "") {
    organ::Stop stop = testing::plain_rank(id, name, feet, from);
    stop.makes.front().make.kind = organ::PipeKind::reed_full;
    return stop;
}

struct RunOverTheList : ::testing::Test {
    RunOverTheList() {
        organ::Division great;
        great.id = "great";
        great.name = "Great";
        great.stops = {reed("principal-8", "Principal 8′", "8", "octave-4"),
                       reed("octave-4", "Octave 4′", "4")};
        instrument.divisions = {great};
    }
    void want(const PipeId& pipe, ListState state = ListState::wanted) {
        record.add(WallTime{}, ListChange{pipe, state});
    }
    visit::Run begin(const char* stop = "Principal 8") {
        RunOptions options;
        options.job = Job::from_reference;
        options.only_listed = true;
        return {instrument, organ::find_stop(instrument, stop).value(), {}, options, record};
    }
    static PipeId pipe(const char* stop, int key) { return {"great", stop, 1, key}; }
    /// It is heard for a second, as `stage`, and `next` is called.
    static void work(visit::Run& run, tuning::Stage stage, Seconds& now) {
        tuning::PipeState state;
        state.stage = stage;
        state.tone = testing::tone_of(run.pipe());
        state.deviation = Cents{0.1};
        state.pitch = run.target_of(run.pipe());
        state.uncertainty = Cents{0.05};
        state.heard = Seconds{2.0};
        for (int i = 0; i < 12; ++i) {
            now += Seconds{0.1};
            run.tell_time({now, WallTime{std::chrono::milliseconds{
                                    static_cast<std::int64_t>(now.count() * 1000.0)}}});
            run.follow(state);
        }
    }

    organ::Instrument instrument;
    Record record;
    Seconds now{0.0};
};

TEST_F(RunOverTheList, GoesToListedPipesOnlyOverAllStopsReferencesFirst) {
    for (const PipeId& one :
         {pipe("principal-8", 25), pipe("principal-8", 5), pipe("octave-4", 25)})
        want(one);
    visit::Run run = begin();
    EXPECT_EQ(run.pipe().id, pipe("octave-4", 25)) << "the reference that is itself on the list";
    EXPECT_EQ(run.list().to_do(), 3U);
    std::vector<PipeId> gone_to;
    for (int i = 0; i < 3; ++i) {
        gone_to.push_back(run.pipe().id);
        work(run, tuning::Stage::settled, now);
        EXPECT_EQ(run.next(), i < 2) << "then the list is empty";
    }
    EXPECT_THAT(gone_to,
                ElementsAre(pipe("octave-4", 25), pipe("principal-8", 5), pipe("principal-8", 25)));
    EXPECT_EQ(run.list().to_do(), 0U);
    EXPECT_EQ(run.list().done, 3U);
}

TEST_F(RunOverTheList, WhatIsLeftOpenComesRoundAgainAndWhatIsDroppedDoesNot) {
    want(pipe("octave-4", 10));
    want(pipe("octave-4", 20));
    want(pipe("octave-4", 30));
    visit::Run run = begin();
    work(run, tuning::Stage::reading, now);  // key 10: not settled
    EXPECT_TRUE(run.next());
    EXPECT_EQ(run.pipe().id.key, 20);
    run.note(ListChange{pipe("octave-4", 20), ListState::dropped});
    EXPECT_TRUE(run.next());
    EXPECT_EQ(run.pipe().id.key, 30);
    work(run, tuning::Stage::settled, now);
    EXPECT_TRUE(run.next());
    EXPECT_EQ(run.pipe().id.key, 10);
    work(run, tuning::Stage::settled, now);
    EXPECT_FALSE(run.next());
}

TEST_F(RunOverTheList, OtherPipesCanBeGoneToAndTheListGoesOnFromThere) {
    want(pipe("octave-4", 10));
    want(pipe("octave-4", 40));
    visit::Run run = begin();
    EXPECT_TRUE(run.go_to(25));
    EXPECT_EQ(run.pipe().id, pipe("octave-4", 25));
    EXPECT_TRUE(run.go_to_any(pipe("principal-8", 3)));
    EXPECT_EQ(run.stop().stop->id, "principal-8");
    EXPECT_TRUE(run.go_to_any(pipe("octave-4", 25)));
    EXPECT_TRUE(run.next());
    EXPECT_EQ(run.pipe().id.key, 40);
    EXPECT_TRUE(run.back());
    EXPECT_EQ(run.pipe().id.key, 25);
    EXPECT_FALSE(run.go_to_any(pipe("choir", 1)));
}

TEST_F(RunOverTheList, TheNextListedKeySoundingMovesOn) {
    want(pipe("octave-4", 10));
    want(pipe("octave-4", 40));
    visit::Run run = begin();
    work(run, tuning::Stage::settled, now);
    tuning::PipeState other;
    other.stage = tuning::Stage::settled;
    other.tone = 2;
    other.wrong_key = 40;
    EXPECT_TRUE(run.follow(other));
    EXPECT_EQ(run.pipe().id.key, 40);
}

// The next pipe's key isn't this stop's: when the settled pipe's key is let go, it is called.
TEST_F(RunOverTheList, GoesOnToAnotherStopWhenTheKeyOfASettledPipeEnds) {
    want(pipe("octave-4", 10));
    want(pipe("principal-8", 10));
    visit::Run run = begin();
    work(run, tuning::Stage::settled, now);
    tuning::PipeState silence;
    bool moved = false;
    int steps = 0;
    for (; steps < 40 && !moved; ++steps) {
        now += Seconds{0.1};
        run.tell_time({now, {}});
        moved = run.follow(silence);
    }
    EXPECT_TRUE(moved);
    EXPECT_GT(steps, 10) << "not in the breath between two tries";
    EXPECT_EQ(run.pipe().id, pipe("principal-8", 10));
}

// The helper draws the next stop with the last key still held: that key isn't meant.
TEST_F(RunOverTheList, TheOldKeyOnTheNewStopIsNotFollowed) {
    want(pipe("octave-4", 10));
    want(pipe("principal-8", 20));
    visit::Run run = begin();
    work(run, tuning::Stage::settled, now);
    EXPECT_TRUE(run.next());
    tuning::PipeState other;
    other.stage = tuning::Stage::wrong_key;
    other.tone = 2;
    other.wrong_key = 10;
    const auto sounds_for = [&](double seconds) {
        for (int i = 0; i < static_cast<int>(seconds * 10.0); ++i) {
            now += Seconds{0.1};
            run.tell_time({now, {}});
            run.follow(other);
        }
        return run.pipe().id;
    };
    EXPECT_EQ(sounds_for(4.0), pipe("principal-8", 20));
    EXPECT_EQ(sounds_for(6.0), pipe("principal-8", 10)) << "but one that goes on and on is";
}

TEST_F(RunOverTheList, TellsTheCallsToComeOverAllStops) {
    for (const PipeId& one :
         {pipe("principal-8", 25), pipe("principal-8", 5), pipe("octave-4", 25)})
        want(one);
    const visit::Run run = begin();
    const std::vector<Call> calls = run.calls_ahead(8);
    ASSERT_EQ(calls.size(), 2U);
    EXPECT_EQ(calls[0].key.key, 5);
    EXPECT_THAT(calls[0].stops, ElementsAre("Octave 4′", "Principal 8′"));
    EXPECT_EQ(calls[1].key.note, "middle C");
    EXPECT_THAT(run.calls_ahead(1), ::testing::SizeIs(1));
}

TEST_F(RunOverTheList, IsGoneOnWithAnotherDayWhereItWasLeft) {
    want(pipe("octave-4", 10));
    want(pipe("octave-4", 40));
    {
        visit::Run run = begin();
        EXPECT_TRUE(run.next());
        work(run, tuning::Stage::reading, now);
        run.rest();
        record = run.record();
    }
    EXPECT_EQ(begin("Octave 4").pipe().id.key, 40);
}

TEST_F(RunOverTheList, AnUndoneDropIsOnTheListAgainAndNothingElseIsUndone) {
    want(pipe("octave-4", 10));
    visit::Run run = begin();
    work(run, tuning::Stage::settled, now);
    run.rest();
    EXPECT_EQ(run.list().to_do(), 0U);
    now += Seconds{10.0};
    run.tell_time({now, WallTime{std::chrono::seconds{20}}});
    run.note(ListChange{pipe("octave-4", 10), ListState::wanted});
    EXPECT_EQ(run.list().to_do(), 1U) << "wanted once more";
    EXPECT_TRUE(run.undo());
    EXPECT_EQ(run.list().to_do(), 0U);
    EXPECT_TRUE(run.record().of(pipe("octave-4", 10)).after) << "how it was left still counts";
}

TEST_F(RunOverTheList, ATypedComplaintCanBeUndone) {
    want(pipe("octave-4", 10));
    visit::Run run = begin();
    run.tell_time({now, WallTime{std::chrono::seconds{20}}});
    run.note(Remark{StopId{"great", "octave-4"}, 20, "growls", true});
    run.note(Remark{std::nullopt, std::nullopt, "checked before the work: wind up", false});
    EXPECT_EQ(run.list().to_do(), 2U);
    EXPECT_TRUE(run.undo());
    EXPECT_EQ(run.list().to_do(), 1U);
    EXPECT_TRUE(run.undo()) << "before it the pipe was wanted";
    EXPECT_EQ(run.list().to_do(), 0U);
    EXPECT_FALSE(run.undo()) << "what was checked was checked";
}

TEST_F(RunOverTheList, AnEmptyListStaysAtTheStop) {
    visit::Run run = begin();
    EXPECT_EQ(run.stop().stop->id, "principal-8");
    EXPECT_FALSE(run.next());
    EXPECT_THAT(run.ahead(), IsEmpty());
}

}  // namespace run_list_test
}  // namespace rankwright::visit
