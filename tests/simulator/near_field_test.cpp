// Pipes that draw each other: against Adler's beat and what was published of real ones.
#include "simulator/near_field.h"

#include "one_of_each.h"
#include "support/allocation_count.h"

#include <array>
#include <cmath>
#include <complex>
#include <numbers>

#include <gtest/gtest.h>

namespace rankwright::simulator {
namespace near_field_test {

constexpr double kStep_s = 64.0 / 48000.0;

struct Course {
    double beat = 0.0;    ///< cents between the two, mean
    double common = 0.0;  ///< mean of both over the mean of both alone, cents
    double heard = 0.0;   ///< amplitude of both together at the end, 2 = in step
};

/// Two pipes of equal force `apart` cents from each other about `hz`.
Course play(double apart, double half_width, double delay, double hz = 262.0) {
    NearField field;
    field.join({0, 1, hz, delay, 1.0, Cents{half_width}});
    const double alone[2] = {hz * std::exp2(-0.5 * apart / 1200.0),
                             hz * std::exp2(0.5 * apart / 1200.0)};
    std::array<Swing, 2> swings{{{0, 0, 0.0, 1.0, 1.0}, {1, 0, 1.0, 1.0, 1.0}}};
    double sums[2] = {0.0, 0.0};
    constexpr double kSettles_s = 20.0;
    constexpr double kHeard_s = 60.0;
    const auto steps = static_cast<int>((kSettles_s + kHeard_s) / kStep_s);
    int counted = 0;
    for (int n = 0; n < steps; ++n) {
        for (std::size_t i = 0; i < 2; ++i)
            swings[i].hz = alone[i];
        field.step(swings, kStep_s);
        const bool counts = n * kStep_s > kSettles_s;
        counted += counts ? 1 : 0;
        for (std::size_t i = 0; i < 2; ++i) {
            if (counts) sums[i] += swings[i].hz;
            swings[i].radians += 2.0 * std::numbers::pi * swings[i].hz * kStep_s;
        }
    }
    const double cent = hz / 1731.234;
    Course course;
    course.beat = (sums[1] - sums[0]) / counted / cent;
    course.common = (sums[1] + sums[0] - counted * (alone[0] + alone[1])) / 2.0 / counted / cent;
    course.heard = std::abs(std::polar(swings[0].strength, swings[0].radians) +
                            std::polar(swings[1].strength, swings[1].radians));
    return course;
}

// R. Adler, Proc. IRE 34 (1946), p. 351: an oscillator drawn in phase alone beats at
// sqrt(Δ² − Δc²) outside Δc, and not at all inside. Where coupling is weak our amplitudes hardly
// move, and the beat must be his. Half a cent is weak: 0.0003 of the pitch, against a return to
// amplitude of 0.014. The amplitudes' share in the beat is of the order of the ratio of those two;
// 60 s at 2 kHz leave 0.1 beat of 20 to 130 uncounted.
TEST(NearField, WeakDrawingBeatsAsAdlersOscillator) {
    constexpr double kWidth = 0.5;
    for (const double delay : {0.5, 0.7}) {
        for (const double apart : {0.2, 0.5, 0.9}) {
            EXPECT_NEAR(play(apart * kWidth, kWidth, delay, 2000.0).beat, 0.0, 1e-3) << apart;
        }
        for (const double apart : {1.2, 1.6, 2.0, 4.0}) {
            const double adler = kWidth * std::sqrt(apart * apart - 1.0);
            const double beat = play(apart * kWidth, kWidth, delay, 2000.0).beat;
            EXPECT_NEAR(beat / adler, 1.0, 0.03) << apart;
        }
    }
}

// Angster et al., AES preprint 3534 (1993): one frequency, in general slightly higher than both.
// Rayleigh 1879: little is heard of two such pipes.
TEST(NearField, PulledTogetherTheySoundAboveBothAndFaintly) {
    for (const double half_width : {0.5, 2.0, 5.0}) {
        for (const double delay : {0.35, 0.5, 0.65}) {
            const double apart = 0.4 * half_width;
            const Course course = play(apart, half_width, delay);
            EXPECT_NEAR(course.beat, 0.0, 1e-3);
            EXPECT_GT(course.common, 0.5 * apart);
            EXPECT_LT(course.heard, 0.6);
        }
    }
}

// The same source: pipes more than 1 % apart widen their difference instead. Within 1 %, outside
// the locking range, a weak pull narrows it.
TEST(NearField, FarPipesPushApartAndNearOnesDrawNearer) {
    for (const double apart : {25.0, 35.0, 60.0}) {
        const double beat = play(apart, 5.0, 0.45).beat;
        EXPECT_GT(beat, apart + 0.05) << apart;
        EXPECT_LT(beat, apart + 3.0) << apart;
    }
    for (const double apart : {3.0, 4.0, 5.0})
        EXPECT_LT(play(apart, 2.0, 0.6).beat, apart - 0.1);
}

}  // namespace near_field_test
}  // namespace rankwright::simulator
