// What must not change the pitch that is read: gain, sample rate, transposition, clipping.
#include "listening/measure.h"
#include "support/tones.h"

#include <algorithm>

#include <gtest/gtest.h>

namespace rankwright::testing {
namespace one_pipe_invariance_test {

using listening::find_steady;
using listening::measure_pipe;

Tone example(double hz, double rate, double seconds = 0.8) {
    std::mt19937_64 random(4);
    return sawtooth_like(hz, rate, seconds, 12, 0.1, random);
}

std::vector<float> noisy(const Tone& tone, double snr_db) {
    std::mt19937_64 random(5);
    std::vector<float> samples = render(tone);
    add_white(samples, power(tone) / std::pow(10.0, snr_db / 10.0), random);
    return samples;
}

TEST(OnePipeInvariance, GainChangesLevelsOnly) {
    const Tone tone = example(311.0, 48000.0);
    std::vector<float> samples = noisy(tone, 30.0);
    const auto before = measure_pipe(samples, SampleRate{48000.0}, Hertz{311.0});
    for (float& x : samples)
        x *= 1.0F / 1024.0F;
    const auto after = measure_pipe(samples, SampleRate{48000.0}, Hertz{311.0});
    ASSERT_TRUE(before && after);
    EXPECT_NEAR(cents(before->pitch.value(), after->pitch.value()), 0.0, 1e-5);
    EXPECT_NEAR(after->sd / before->sd, 1.0, 1e-3);
    EXPECT_NEAR((after->partials.list[0].level - before->partials.list[0].level).value(), -60.206,
                1e-3);
    EXPECT_NEAR((after->snr - before->snr).value(), 0.0, 1e-3);
}

TEST(OnePipeInvariance, AnySampleRateGivesThePitch) {
    for (const double rate : {8000.0, 11025.0, 22050.0, 44100.0, 48000.0, 96000.0, 192000.0}) {
        const Tone tone = example(196.3, rate);
        const auto reading = measure_pipe(noisy(tone, 30.0), SampleRate{rate}, Hertz{200.0});
        ASSERT_TRUE(reading) << rate;
        EXPECT_NEAR(cents(196.3, reading->pitch.value()), 0.0,
                    4.0 * reading->cents_sd().value() + 1e-4)
            << rate;
    }
}

TEST(OnePipeInvariance, TheSameSamplesAtTwiceTheRateAreAnOctaveHigher) {
    const std::vector<float> samples = noisy(example(150.0, 24000.0), 30.0);
    const auto low = measure_pipe(samples, SampleRate{24000.0}, Hertz{150.0});
    const auto high = measure_pipe(samples, SampleRate{48000.0}, Hertz{300.0});
    ASSERT_TRUE(low && high);
    EXPECT_NEAR(cents(low->pitch.value(), high->pitch.value()), 1200.0,
                0.2 * low->cents_sd().value());
}

TEST(OnePipeInvariance, WithoutAHintTheNoteIsFound) {
    for (const double hz : {33.0, 120.0, 440.0, 2100.0}) {
        const Tone tone = example(hz, 48000.0, 1.5);
        const auto reading = measure_pipe(noisy(tone, 25.0), SampleRate{48000.0});
        ASSERT_TRUE(reading) << hz;
        EXPECT_NEAR(cents(hz, reading->pitch.value()), 0.0, 0.1) << hz;
    }
}

TEST(OnePipeLevels, AreThoseOfThePartials) {
    const Tone tone = example(262.0, 48000.0);
    const auto reading = measure_pipe(noisy(tone, 40.0), SampleRate{48000.0}, Hertz{262.0});
    ASSERT_TRUE(reading);
    ASSERT_GE(reading->partials.count, 12U);
    for (std::size_t k = 0; k < 12; ++k) {
        EXPECT_EQ(reading->partials.list[k].number, static_cast<int>(k) + 1);
        EXPECT_NEAR(reading->partials.list[k].level.value(), 20.0 * std::log10(tone.amplitudes[k]),
                    0.1);
    }
    EXPECT_NEAR(reading->snr.value(), 40.0, 0.3);
    EXPECT_EQ(reading->clipped, 0.0);
}

TEST(OnePipeClipping, IsReportedAndThePitchSurvives) {
    for (const double over_db : {3.0, 12.0, 30.0}) {
        Tone tone = example(220.0, 48000.0);
        std::vector<float> samples = noisy(tone, 40.0);
        const float peak = *std::max_element(samples.begin(), samples.end());
        const auto gain = static_cast<float>(std::pow(10.0, over_db / 20.0)) / peak;
        double limited = 0.0;
        for (float& x : samples) {
            x *= gain;
            if (std::abs(x) >= 1.0F) limited += 1.0;
            x = std::clamp(x, -1.0F, 1.0F);
        }
        const auto reading = measure_pipe(samples, SampleRate{48000.0}, Hertz{220.0});
        ASSERT_TRUE(reading) << over_db;
        EXPECT_NEAR(cents(220.0, reading->pitch.value()), 0.0, 0.01) << over_db;
        EXPECT_NEAR(reading->clipped, limited / static_cast<double>(samples.size()), 1e-6);
    }
}

// Somebody bumps the gain half-way: neither the clipped half nor the step may move the pitch.
TEST(OnePipeClipping, OfAPartOfTheSpanDoesNotMoveThePitch) {
    for (const double clipped_from : {0.0, 0.3, 0.7}) {
        std::vector<float> samples = noisy(example(220.0, 48000.0), 40.0);
        const auto first = static_cast<std::size_t>(clipped_from * 48000.0);
        const std::size_t last = std::min(samples.size(), first + 14400);
        for (std::size_t i = first; i < last; ++i)
            samples[i] = std::clamp(30.0F * samples[i], -1.0F, 1.0F);
        const auto reading = measure_pipe(samples, SampleRate{48000.0}, Hertz{220.0});
        ASSERT_TRUE(reading) << clipped_from;
        EXPECT_NEAR(cents(220.0, reading->pitch.value()), 0.0,
                    std::max(0.01, 3.0 * reading->cents_sd().value()))
            << clipped_from;
        EXPECT_GT(reading->clipped, 0.05) << clipped_from;
    }
}

TEST(OnePipePresence, SilenceAndNoiseAreNoPipe) {
    const std::vector<float> silence(48000, 0.0F);
    EXPECT_FALSE(measure_pipe(silence, SampleRate{48000.0}));
    EXPECT_FALSE(find_steady(silence, SampleRate{48000.0}));
    for (const unsigned seed : {1U, 2U, 3U, 4U, 5U, 6U}) {
        std::mt19937_64 random(seed);
        std::vector<float> noise(48000, 0.0F);
        add_white(noise, 1e-4, random);
        EXPECT_FALSE(measure_pipe(noise, SampleRate{48000.0})) << seed;
        EXPECT_FALSE(measure_pipe(noise, SampleRate{48000.0}, Hertz{262.0})) << seed;
    }
}

TEST(SteadySpan, LeavesOutSilenceSpeechAndRelease) {
    constexpr double kRate = 48000.0;
    // Half a second of silence, speech gliding up 30 cents over 0.2 s, two seconds standing, then
    // a decay of 30 dB a second.
    const Tone tone = example(262.0, kRate, 4.0);
    std::vector<double> glide(frames(tone), 0.0);
    for (std::size_t n = 0; n < glide.size(); ++n) {
        const double t = static_cast<double>(n) / kRate - 0.5;
        if (t > 0.0 && t < 0.2) glide[n] = -30.0 * (1.0 - t / 0.2);
    }
    std::vector<float> samples = render(tone, cycles_of(tone, glide));
    for (std::size_t n = 0; n < samples.size(); ++n) {
        const double t = static_cast<double>(n) / kRate - 0.5;
        double gain = t < 0.0 ? 0.0 : std::min(1.0, t / 0.1);
        if (t > 2.2) gain = std::pow(10.0, -1.5 * (t - 2.2));
        samples[n] *= static_cast<float>(gain);
    }
    std::mt19937_64 random(8);
    add_white(samples, 1e-7, random);
    const auto span = find_steady(samples, SampleRate{kRate});
    ASSERT_TRUE(span);
    EXPECT_NEAR(static_cast<double>(span->first) / kRate, 0.7, 0.15);
    EXPECT_NEAR(static_cast<double>(span->first + span->count) / kRate, 2.7, 0.2);
}

}  // namespace one_pipe_invariance_test
}  // namespace rankwright::testing
