// What the docstring promises of the filter, asked with sines (their levels by definition), and
// that a pipe recorded at 96 kHz is read in the right place.
#include "listening/half_rate.h"

#include "listening/measure.h"
#include "support/tones.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace half_rate_test {

constexpr double kRate = 96000.0;

/// Amplitude of what is left of a sine of amplitude 1 and `hz`, as a new sound of half
/// the rate has it.
double left_of(double hz) {
    std::vector<float> sine(20000);
    for (std::size_t i = 0; i < sine.size(); ++i)
        sine[i] = static_cast<float>(
            std::sin(2.0 * std::numbers::pi * hz * static_cast<double>(i) / kRate));
    const HalvedSound half = half_rate(sine);
    constexpr std::size_t kWholePeriods = 9600;  // of every multiple of 5 Hz
    double power = 0.0;
    for (std::size_t i = 0; i < kWholePeriods; ++i)
        power += 2.0 * half.samples.at(i) * half.samples[i];
    return std::sqrt(power / kWholePeriods);
}

TEST(HalfRate, WhatIsBelowStaysAndWhatIsAboveGoes) {
    for (const double hz : {20.0, 440.0, 8400.0, 15000.0, 0.44 * 0.5 * kRate})
        EXPECT_NEAR(left_of(hz), 1.0, 0.001) << hz;
    for (const double hz : {0.56 * 0.5 * kRate, 30000.0, 40000.0, 47000.0})
        EXPECT_LT(left_of(hz), 1e-4) << hz;
}

TEST(HalfRate, SamplesLieWhereTheySay) {
    std::vector<float> ramp(2000);
    for (std::size_t i = 0; i < ramp.size(); ++i)
        ramp[i] = static_cast<float>(i);
    const HalvedSound half = half_rate(ramp);
    ASSERT_FALSE(half.samples.empty());
    for (std::size_t i = 0; i < half.samples.size(); ++i)
        EXPECT_NEAR(half.samples[i], static_cast<double>(half.frame_of(i)), 0.01) << i;
    EXPECT_LT(half.frame_of(half.samples.size() - 1), ramp.size());
    EXPECT_TRUE(half_rate(std::vector<float>(50)).samples.empty());
}

TEST(HalfRate, AFastRecordingIsReadWhereThePipeStands) {
    for (const double rate : {88200.0, 96000.0, 192000.0}) {
        std::mt19937_64 random(7);
        const testing::Tone tone = testing::sawtooth_like(261.3, rate, 1.0, 8, 0.2, random);
        const std::vector<float> pipe = testing::render(tone);
        const auto silence = static_cast<std::size_t>(0.5 * rate);
        std::vector<float> sound(silence, 0.0F);
        sound.insert(sound.end(), pipe.begin(), pipe.end());
        sound.resize(sound.size() + silence, 0.0F);
        const auto steady = find_steady(sound, SampleRate{rate});
        ASSERT_TRUE(steady) << rate;
        EXPECT_NEAR(static_cast<double>(steady->first) / rate, 0.5, 0.1) << rate;
        EXPECT_NEAR(static_cast<double>(steady->count) / rate, 1.0, 0.2) << rate;
        const auto reading =
            measure_pipe(std::span(sound).subspan(steady->first, steady->count), SampleRate{rate});
        ASSERT_TRUE(reading) << rate;
        EXPECT_NEAR(testing::cents(tone.hz, reading->pitch.value()), 0.0, 0.001) << rate;
        EXPECT_LE(static_cast<std::size_t>(reading->to.value), steady->count) << rate;
        EXPECT_GE(static_cast<double>(reading->to - reading->from),
                  0.95 * static_cast<double>(steady->count))
            << rate;
    }
}

}  // namespace half_rate_test
}  // namespace rankwright::listening
