// A pipe that was left: what sounds on of it, and what a hand had done to it. Common practice, no
// source.
#include "tuned_pipes.h"
#include "visit/run.h"

#include <cstddef>
#include <string>

#include <gtest/gtest.h>

namespace rankwright::visit {
namespace run_left_test {

struct RunLeft : TunedPipes {
    /// Nothing comes after the pipe of that key; the other pipe of the rank that can be reached was
    /// left warm or in tune.
    visit::Run begin_at_last(int key, bool other_cools) {
        visit::Run run = begin("Octave 4");
        for (const organ::Pipe& pipe : run.pipes())
            if (pipe.key != key && pipe.key != kOther) run.note(OutOfReach{pipe.id, true});
        run.go_to(kOther);
        if (other_cools) {
            tune_alone(run);
        } else {
            pass(run, 2.0);
            run.follow(stands(run, 0.1, tuning::Stage::settled));
        }
        run.go_to(key);
        EXPECT_EQ(run.record().of(other(run)).list,
                  other_cools ? ListState::hear_again : ListState::done);
        return run;
    }
    static PipeId other(const visit::Run& run) {
        for (const organ::Pipe& pipe : run.pipes())
            if (pipe.key == kOther) return pipe.id;
        return {};
    }
    /// Its key is held for a while, or the room sounds on, and it wanders into its tolerance.
    void sound_on(visit::Run& run) {
        const double tolerance = tuning::tolerance_at(run.target_of(run.pipe())).value();
        for (int look = 0; look < 3; ++look) {
            pass(run, 0.5);
            tuning::PipeState state = stands(run, tolerance + 0.1, tuning::Stage::reading);
            state.advice.emplace();
            run.follow(state);
        }
        for (const double sd : {0.1, 0.05}) {
            pass(run, 0.1);
            run.follow(stands(run, tolerance - 0.2, tuning::Stage::settled, sd));
        }
    }

    static constexpr int kOther = 50;
};

// Whether it was done, is to be heard again, or never settled, and whether or not there is another
// to wait for.
TEST_F(RunLeft, WhatSoundsOnOfThePipeInHandAddsNothingToWhatItWasLeftAs) {
    struct Case {
        const char* what;
        int key;
        bool moved;
        double off;
        tuning::Stage stage;
        ListState left;
    };
    const Case cases[] = {
        {"done", 1, false, 0.1, tuning::Stage::settled, ListState::done},
        {"to be heard again", 30, true, 0.1, tuning::Stage::settled, ListState::hear_again},
        {"never settled", 30, true, 2.0, tuning::Stage::reading, ListState::open},
        {"not moved", 30, false, 2.0, tuning::Stage::reading, ListState::open},
    };
    for (const bool other_cools : {false, true})
        for (const Case& one : cases) {
            SCOPED_TRACE(one.what + std::string(other_cools ? ", another cools" : ""));
            visit::Run run = begin_at_last(one.key, other_cools);
            const PipeId pipe = run.pipe().id;
            if (one.moved) move_often(run);
            pass(run, 2.0);
            run.follow(stands(run, one.off, one.stage));
            run.next();
            ASSERT_EQ(run.record().of(pipe).list, one.left);
            const std::size_t entries = run.record().entries().size();
            EXPECT_EQ(run.wait().has_value(), other_cools || one.left == ListState::hear_again);
            sound_on(run);
            run.rest();
            EXPECT_EQ(run.record().of(pipe).list, one.left);
            EXPECT_EQ(run.record().entries().size(), entries);
        }
}

// What adds nothing while it sounds on, does once the key is played again.
TEST_F(RunLeft, APipeThatWasLeftAndIsPlayedAgainIsWorkedAt) {
    visit::Run run = begin_at_last(30, false);
    const PipeId pipe = run.pipe().id;
    const double tolerance = tuning::tolerance_at(run.target_of(run.pipe())).value();
    pass(run, 2.0);
    run.follow(stands(run, tolerance + 0.1, tuning::Stage::reading));
    run.next();
    ASSERT_EQ(run.record().of(pipe).list, ListState::open);
    sound_on(run);
    const std::size_t entries = run.record().entries().size();
    for (int look = 0; look < 3; ++look) {
        pass(run, 0.2);
        run.follow(tuning::PipeState{});  // silence
    }
    pass(run, 5.0);
    sound_on(run);
    run.rest();
    EXPECT_GT(run.record().entries().size(), entries);
    EXPECT_NE(run.record().of(pipe).list, ListState::open);
}

// Nor does what is read of its reference then tell of the next pipe's.
TEST_F(RunLeft, WhatSoundsOnTellsNothingOfTheNextPipesReference) {
    visit::Run run = begin("Trumpet 8");
    pass(run, 1.0);
    run.follow(by_beats(run, 0.1, tuning::Stage::settled, 0.0));
    const int sounds = testing::tone_of(run.pipe());
    run.next();
    for (int look = 0; look < 3; ++look) {
        pass(run, 0.1);
        tuning::PairedState state = by_beats(run, 3.0, tuning::Stage::reading, 9.0);
        state.pipe.tone = sounds;
        run.follow(state);
    }
    EXPECT_FALSE(run.outcomes()[run.current()].reference);
    pass(run, 1.0);
    run.follow(by_beats(run, 3.0, tuning::Stage::reading, 0.2));
    EXPECT_TRUE(run.outcomes()[run.current()].reference);
}

// A bass is hardly warmed by one touch, but by four it was: that isn't over because it was touched
// once more, or seemed to be, before it had cooled.
TEST_F(RunLeft, AWarmBassTouchedOnceMoreIsStillWarm) {
    visit::Run run = begin("Octave 4");
    const double tolerance = tuning::tolerance_at(run.target_of(run.pipes().front())).value();
    const auto touch_as_told = [&] { told_then_settled(run, 1.2 * tolerance); };
    run.go_to(1);
    touch_as_told();
    ASSERT_EQ(left_as(run), ListState::done) << "cool, but for one touch";
    run.go_to(1);
    move_often(run);
    run.follow(stands(run, 0.1, tuning::Stage::settled));
    ASSERT_EQ(left_as(run), ListState::hear_again);
    run.go_to(1);
    touch_as_told();
    EXPECT_EQ(left_as(run), ListState::hear_again);
    pass(run, 400.0);
    run.go_to(1);
    touch_as_told();
    EXPECT_EQ(left_as(run), ListState::done);
}

// A small one as well, left before it had settled and found in tune as it cools.
TEST_F(RunLeft, AWarmPipeThatWasLeftOpenAndStandsRightIsHeardAgain) {
    visit::Run run = begin("Octave 4");
    run.go_to(30);
    move_often(run);
    run.follow(stands(run, 2.0, tuning::Stage::reading));
    ASSERT_EQ(left_as(run), ListState::open);
    pass(run, 30.0);
    run.go_to(30);
    pass(run, 3.0);
    run.follow(stands(run, 0.1, tuning::Stage::settled));
    EXPECT_EQ(left_as(run), ListState::hear_again);
    pass(run, 400.0);
    run.go_to(30);
    pass(run, 3.0);
    run.follow(stands(run, 0.1, tuning::Stage::settled));
    EXPECT_EQ(left_as(run), ListState::done);
}

// The wire goes on creeping from where it was driven.
TEST_F(RunLeft, AReedsWireGoesOnCreepingThoughItWasMovedALittleMore) {
    visit::Run run = begin("Trumpet 8");
    run.go_to(37);
    tune_reed(run, -30.0);
    ASSERT_EQ(left_as(run), ListState::hear_again);
    run.go_to(37);
    tune_reed(run, -2.0);
    EXPECT_EQ(left_as(run), ListState::hear_again);
    pass(run, 130.0);
    run.go_to(37);
    tune_reed(run, -2.0);
    EXPECT_EQ(left_as(run), ListState::done);
}

}  // namespace run_left_test
}  // namespace rankwright::visit
