// An organ of a flue rank and a reed, and what the ear makes of a pipe that is tuned: for tests of
// what a run makes of that.
#pragma once

#include "support/plain_rank.h"
#include "visit/run.h"

#include <gtest/gtest.h>

namespace rankwright::visit {

struct TunedPipes : ::testing::Test {
    TunedPipes() {
        organ::Division great;
        great.id = "great";
        great.name = "Great";
        organ::Stop trumpet = testing::plain_rank("trumpet-8", "Trumpet 8′", "8", "octave-4");
        trumpet.makes[0].make.kind = organ::PipeKind::reed_full;
        trumpet.makes[0].make.device = organ::TuningDevice::reed_wire;
        great.stops = {testing::plain_rank("octave-4", "Octave 4′", "4"), trumpet};
        instrument.divisions = {great};
    }
    visit::Run begin(const char* stop) {
        return {instrument, organ::find_stop(instrument, stop).value(), {}, {Job::from_reference}};
    }
    void pass(visit::Run& run, double s) {
        now += s;
        run.tell_time({Seconds{now}, WallTime{}});
    }
    static tuning::PipeState stands(const visit::Run& run, double off, tuning::Stage stage,
                                    double sd = 0.1) {
        tuning::PipeState state;
        state.stage = stage;
        state.tone = testing::tone_of(run.pipe());
        state.deviation = Cents{off};
        state.pitch = transpose(run.target_of(run.pipe()), Cents{off});
        state.uncertainty = Cents{sd};
        state.heard = Seconds{2.0};
        return state;
    }
    /// Its reference so far from its own target.
    static tuning::PairedState by_beats(const visit::Run& run, double off, tuning::Stage stage,
                                        double reference, double sd = 0.1) {
        tuning::PairedState state;
        state.pipe = stands(run, off, stage, sd);
        state.reference_deviation = Cents{reference};
        state.reference = transpose(run.paired_expectation()->reference_target, Cents{reference});
        state.reference_uncertainty = Cents{0.1};
        return state;
    }
    ListState left_as(visit::Run& run) {
        const PipeId pipe = run.pipe().id;
        run.next();
        return run.record().of(pipe).list.value();
    }
    /// The pipe in hand, alone, from 6 cents sharp.
    void tune_alone(visit::Run& run) {
        pass(run, 1.0);
        run.follow(stands(run, 6.0, tuning::Stage::reading));
        pass(run, 1.0);
        run.follow(stands(run, 3.0, tuning::Stage::moving));
        pass(run, 2.0);
        run.follow(stands(run, 0.1, tuning::Stage::settled));
    }

    /// The pipe in hand, alone, from 9 cents sharp by four moves.
    void move_often(visit::Run& run) {
        for (const double off : {9.0, 7.0, 5.0, 3.0}) {
            pass(run, 1.0);
            run.follow(stands(run, off, tuning::Stage::reading));
            pass(run, 3.0);
            run.follow(stands(run, off - 1.0, tuning::Stage::moving));
        }
        pass(run, 2.0);
    }
    /// The pipe in hand, beside its reference, from so far off by one move.
    void tune_reed(visit::Run& run, double off) {
        pass(run, 1.0);
        run.follow(by_beats(run, off, tuning::Stage::reading, 0.0));
        pass(run, 1.0);
        run.follow(by_beats(run, off / 2.0, tuning::Stage::moving, 0.0));
        pass(run, 2.0);
        run.follow(by_beats(run, 0.1, tuning::Stage::settled, 0.0));
    }
    /// The screen asks for it to be moved, and it settles without having been heard to move.
    void told_then_settled(visit::Run& run, double sharp) {
        for (const double s : {0.5, 0.5, 0.5}) {
            pass(run, s);
            tuning::PipeState state = stands(run, sharp, tuning::Stage::reading, 0.2);
            state.advice.emplace();
            run.follow(state);
        }
        pass(run, 3.0);
        run.follow(stands(run, 0.45, tuning::Stage::settled, 0.2));
    }

    organ::Instrument instrument;
    double now = 0.0;
};

}  // namespace rankwright::visit
