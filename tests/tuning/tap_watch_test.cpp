#include "tuning/tap_watch.h"

#include <gtest/gtest.h>

namespace rankwright::tuning {
namespace tap_watch_test {

organ::Pipe coned(int key = 49) {
    organ::Pipe pipe;
    pipe.id = {"great", "octave-4", 1, key};
    pipe.make.device = organ::TuningDevice::cone;
    return pipe;
}

/// A pipe of 1000 Hz heard twenty times a second.
struct Pipe {
    SteadyMean standing;
    TapWatch taps;
    double now_s = 0.0;

    Pipe() { taps.turn_to(coned()); }
    void stands(double seconds, double off, double slope = 0.0) {
        for (const double end = now_s + seconds; now_s < end; now_s += 0.05) {
            off += 0.05 * slope;
            standing.add(Seconds{now_s}, Cents{off}, Cents{0.05});
            const Cents needed = -*standing.mean();
            taps.hear(standing, Seconds{now_s}, transpose(Hertz{1000.0}, *standing.mean()), needed,
                      slope != 0.0);
        }
    }
    std::string amount(double off) const {
        return taps.amount(transpose(Hertz{1000.0}, Cents{off}), Cents{-off});
    }
};

TEST(TapWatch, LearnsFromAStepTowardsTheTarget) {
    Pipe pipe;
    pipe.stands(3.0, -6.0);
    EXPECT_EQ(pipe.amount(-6.0), "");
    pipe.stands(3.0, -4.0);
    EXPECT_EQ(pipe.amount(-4.0), "about two taps like the last");
}

// A body near the mouth flattens a pipe while it is there (from memory).
TEST(TapWatch, AHandThatComesAndGoesIsNoTap) {
    Pipe pipe;
    pipe.stands(3.0, -6.0);
    pipe.stands(1.2, -7.0);
    EXPECT_EQ(pipe.amount(-7.0), "");
    pipe.stands(3.0, -3.0);
    EXPECT_EQ(pipe.amount(-3.0), "one tap like the last") << "6 to 3: the shade doesn't count";
}

TEST(TapWatch, AStepAwayFromTheTargetTeachesNothing) {
    Pipe pipe;
    pipe.stands(3.0, -6.0);
    pipe.stands(3.0, -9.0);
    EXPECT_EQ(pipe.amount(-9.0), "");
}

TEST(TapWatch, ACoolingPipeIsNotTapped) {
    Pipe pipe;
    pipe.stands(3.0, 8.0);
    pipe.stands(6.0, 8.0, -0.6);
    EXPECT_EQ(pipe.amount(4.4), "");
}

TEST(TapWatch, TheNextPipeOfTheRankIsServedAnotherDeviceIsNot) {
    Pipe pipe;
    pipe.stands(3.0, -6.0);
    pipe.stands(3.0, -4.0);
    pipe.taps.turn_to(coned(50));
    EXPECT_EQ(pipe.amount(-4.0), "about two taps like the last");
    organ::Pipe other = coned(51);
    other.make.device = organ::TuningDevice::sleeve;
    pipe.taps.turn_to(other);
    EXPECT_EQ(pipe.amount(-4.0), "");
}

TEST(TapWatch, WhatTheAirDidMeanwhileIsNoTap) {
    Pipe pipe;
    pipe.stands(3.0, -6.0);
    pipe.now_s += 300.0;
    pipe.standing.restart();
    pipe.stands(3.0, -4.0);
    EXPECT_EQ(pipe.amount(-4.0), "");
}

TEST(TapWatch, ThePipeBeforeIsNotComparedWithThisOne) {
    Pipe pipe;
    pipe.stands(3.0, -6.0);
    pipe.taps.turn_to(coned(50));
    pipe.standing.restart();
    pipe.stands(3.0, -4.0);
    EXPECT_EQ(pipe.amount(-4.0), "");
}

}  // namespace tap_watch_test
}  // namespace rankwright::tuning
