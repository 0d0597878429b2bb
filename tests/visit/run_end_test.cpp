// After the last pipe: whether anything is left, and which pipes stay as they are.
#include "support/plain_rank.h"
#include "visit/faults.h"
#include "visit/run.h"

#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::visit {
namespace run_end_test {

using ::testing::ElementsAre;
using ::testing::IsEmpty;

struct RunEnd : ::testing::Test {
    RunEnd() {
        organ::Division great;
        great.id = "great";
        great.name = "Great";
        great.keys = 4;
        great.stops = {testing::plain_rank("octave-4", "Octave 4′", "4"),
                       testing::plain_rank("principal-8", "Principal 8′", "8")};
        for (organ::Stop& stop : great.stops)
            stop.last_key = great.keys;
        instrument.divisions = {great};
    }
    visit::Run begin(RunOptions options, std::vector<BookEntry> earlier = {}) {
        return {instrument,
                organ::find_stop(instrument, "Octave 4").value(),
                {},
                std::move(options),
                Record{std::move(earlier)}};
    }
    void look(visit::Run& run, tuning::Stage stage, double off) {
        now += 3.0;
        run.tell_time({Seconds{now}, WallTime{}});
        tuning::PipeState state;
        state.stage = stage;
        state.tone = ++tone;
        state.deviation = Cents{off};
        state.pitch = transpose(run.target_of(run.pipe()), Cents{off});
        state.uncertainty = Cents{0.1};
        state.heard = Seconds{2.0};
        run.follow(state);
    }
    /// It stands right as it is found.
    void settle(visit::Run& run) { look(run, tuning::Stage::settled, 0.1); }
    void leave_open(visit::Run& run) { look(run, tuning::Stage::reading, 4.0); }
    static std::vector<std::string> left(const visit::Run& run) {
        std::vector<std::string> names;
        for (const ListedPipe& one : run.left_over())
            names.push_back(one.pipe.id.stop + " " + std::to_string(one.pipe.key));
        return names;
    }

    organ::Instrument instrument;
    double now = 0.0;
    int tone = 0;
};

TEST_F(RunEnd, AfterTheLastPipeOfAllStopsNothingIsLeftButWhatStaysOpen) {
    RunOptions options{Job::to_target};
    options.stops = {{"great", "octave-4"}, {"great", "principal-8"}};
    visit::Run run = begin(options);
    const PipeId open = run.pipe().id;
    for (int pipe = 0; pipe < 8; ++pipe) {
        EXPECT_FALSE(run.is_over()) << pipe;
        pipe == 0 ? leave_open(run) : settle(run);
        run.next();
    }
    EXPECT_TRUE(run.is_over());
    EXPECT_THAT(left(run), ElementsAre("octave-4 " + std::to_string(open.key)));
    EXPECT_FALSE(run.next());
    EXPECT_TRUE(run.is_over());
    // Gone to once more, it is worked at again.
    ASSERT_TRUE(run.go_to_any(open));
    EXPECT_FALSE(run.is_over());
}

// As seen in a simulated visit: its key still sounded when the work was ended.
TEST_F(RunEnd, TheLastPipeStaysDoneThoughItSoundsOn) {
    RunOptions options{Job::to_target};
    options.stops = {{"great", "octave-4"}};
    visit::Run run = begin(options);
    for (int pipe = 0; pipe < 4; ++pipe) {
        settle(run);
        run.next();
    }
    ASSERT_TRUE(run.is_over());
    const PipeId last = run.pipe().id;
    look(run, tuning::Stage::reading, 0.2);
    run.rest();
    EXPECT_EQ(run.record().of(last).list, ListState::done);
    // But one that is moved after all, and left off, is open.
    look(run, tuning::Stage::reading, 0.2);
    look(run, tuning::Stage::moving, 5.0);
    look(run, tuning::Stage::reading, 9.0);
    look(run, tuning::Stage::reading, 9.0);
    EXPECT_FALSE(run.is_over());
    run.rest();
    EXPECT_EQ(run.record().of(last).list, ListState::open);
}

TEST_F(RunEnd, WhatCoolsIsNotOver) {
    RunOptions options{Job::to_target};
    options.stops = {{"great", "octave-4"}};
    visit::Run run = begin(options);
    for (int pipe = 0; pipe < 4; ++pipe) {
        if (pipe == 3) {  // by hand
            look(run, tuning::Stage::reading, 9.0);
            look(run, tuning::Stage::moving, 5.0);
        }
        settle(run);
        run.next();
    }
    EXPECT_FALSE(run.is_over());
    EXPECT_TRUE(run.wait());
}

TEST_F(RunEnd, ByTheListAPipeThatIsLeftOpenTwiceIsNotGoneToAgain) {
    std::vector<BookEntry> entries;
    for (const int key : {1, 2, 3})
        entries.push_back({entries.size() + 1, WallTime{},
                           ListChange{{"great", "octave-4", 1, key}, ListState::wanted}});
    entries.push_back({4, WallTime{}, OutOfReach{{"great", "octave-4", 1, 3}, true}});
    RunOptions options{Job::to_target};
    options.only_listed = true;
    visit::Run run = begin(options, entries);
    for (int times = 0; times < 4; ++times) {
        EXPECT_FALSE(run.is_over()) << times;
        leave_open(run);
        run.next();
    }
    EXPECT_TRUE(run.is_over());
    EXPECT_EQ(left(run).size(), 3U);
}

TEST_F(RunEnd, AFinishedStopCanBeGoneThroughOnceMore) {
    std::vector<BookEntry> entries;
    for (const int key : {1, 2, 3, 4})
        entries.push_back({entries.size() + 1, WallTime{},
                           ListChange{{"great", "octave-4", 1, key}, ListState::done}});
    visit::Run run = begin({Job::to_target}, entries);
    EXPECT_TRUE(run.next());
    EXPECT_FALSE(run.is_over());
    while (run.next()) {
    }
    EXPECT_TRUE(run.is_over());
    EXPECT_THAT(left(run), IsEmpty());
}

}  // namespace run_end_test
}  // namespace rankwright::visit
