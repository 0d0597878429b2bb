// Tones without any noise: nothing hides then what partials leak into each other, what rounding
// leaves, and partials that aren't there. Truth is the pitch the tone was made with.
#include "listening/measure.h"
#include "listening/pipe_listener.h"
#include "support/tones.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <ostream>
#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright {
namespace clean_tones_test {

using listening::measure_pipe;
using listening::PipeListener;
using listening::PitchReading;

constexpr double kBudget = 0.005;  // cents; otherwise three of the reading's own uncertainty

enum class Wave { sine, two_partials, eight_partials, square };

struct CleanTone {
    double hz = 440.0;
    double rate = 48000.0;
    Wave wave = Wave::eight_partials;
    double level = 0.3;
    bool sixteen_bits = false;
    unsigned seed = 1;
};

void PrintTo(const CleanTone& tone, std::ostream* out) {
    *out << tone.hz << " Hz, rate " << tone.rate << ", wave " << static_cast<int>(tone.wave)
         << ", level " << tone.level << (tone.sixteen_bits ? ", 16 bits" : "") << ", seed "
         << tone.seed;
}

std::vector<float> render(const CleanTone& clean, double seconds) {
    std::mt19937_64 random(clean.seed);
    const int partials = clean.wave == Wave::sine           ? 1
                         : clean.wave == Wave::two_partials ? 2
                         : clean.wave == Wave::square       ? 40
                                                            : 8;
    testing::Tone tone =
        testing::sawtooth_like(clean.hz, clean.rate, seconds, partials, clean.level, random);
    if (clean.wave == Wave::square)
        for (std::size_t k = 1; k < tone.amplitudes.size(); k += 2)
            tone.amplitudes[k] = 0.0;
    std::vector<float> samples = testing::render(tone);
    if (clean.sixteen_bits)
        for (float& x : samples)
            x = std::round(x * 32768.0F) / 32768.0F;
    return samples;
}

// Over the compass, the sample rates, the waves, and from a whisper to nearly full scale.
std::vector<CleanTone> clean_tones(unsigned seed) {
    std::mt19937_64 random(seed);
    std::uniform_real_distribution<double> pitch(std::log(30.0), std::log(4000.0));
    std::vector<CleanTone> tones;
    for (const double rate : {8000.0, 44100.0, 48000.0, 192000.0})
        for (const Wave wave : {Wave::sine, Wave::two_partials, Wave::eight_partials, Wave::square})
            for (const double level : {0.3, 1e-4, 0.5}) {
                CleanTone tone{std::exp(pitch(random)), rate, wave, level, level > 0.4, ++seed};
                if (tone.hz > 0.3 * rate) tone.hz *= 0.5;
                tones.push_back(tone);
            }
    // Whole frames in a period: not even rounding differs from one period to the next.
    tones.push_back({100.0, 48000.0, Wave::square, 0.3, true, ++seed});
    tones.push_back({131.191, 48000.0, Wave::eight_partials, 0.3, false, 1});
    return tones;
}

void expect_true(const PitchReading& reading, const CleanTone& tone) {
    const double error = testing::cents(tone.hz, reading.pitch.value());
    EXPECT_LE(std::abs(error), std::max(kBudget, 3.0 * reading.cents_sd().value()))
        << ::testing::PrintToString(tone);
}

TEST(CleanTones, FilesReadTrue) {
    for (const CleanTone& tone : clean_tones(71)) {
        const auto reading = measure_pipe(render(tone, 1.5), SampleRate{tone.rate},
                                          transpose(Hertz{tone.hz}, Cents{-5.0}));
        ASSERT_TRUE(reading) << ::testing::PrintToString(tone);
        expect_true(*reading, tone);
    }
}

TEST(CleanTones, LiveReadsTrue) {
    for (const CleanTone& tone : clean_tones(72)) {
        PipeListener listener({SampleRate{tone.rate}, 1});
        listener.expect(transpose(Hertz{tone.hz}, Cents{-5.0}));
        // A beginning is heard: what stands at a multiple of the mains since ever is no pipe.
        auto samples = render(tone, 1.6);
        std::fill_n(samples.begin(), std::lround(0.3 * tone.rate), 0.0F);
        const auto piece = static_cast<std::size_t>(tone.rate / 100.0);
        int readings = 0;
        for (std::size_t i = 0; i + piece <= samples.size(); i += piece) {
            listener.process(FrameIndex{static_cast<std::int64_t>(i)}, {&samples[i], piece});
            const auto& reading = listener.hearing().reading;
            if (!reading) continue;
            ++readings;
            expect_true(*reading, tone);
        }
        // Within 0.4 s of its beginning, as the bass must.
        EXPECT_GE(readings, 90) << ::testing::PrintToString(tone);
    }
}

TEST(CleanTones, OnlyPartialsThatAreThereAreListed) {
    for (const double hz : {32.7, 131.191, 523.25, 1046.5}) {
        const auto samples = render({hz, 48000.0, Wave::eight_partials, 0.3, false, 5}, 2.4);
        const auto reading = measure_pipe(samples, SampleRate{48000.0}, Hertz{hz});
        ASSERT_TRUE(reading);
        EXPECT_EQ(reading->partials.count, 8U) << hz;
    }
}

// Another tone sounds on, two of its lines within some hertz of the pipe's partials.
TEST(CleanTones, PartialsBesideAnotherTonesLinesDontPullThePitch) {
    const double hz = 311.1;
    const CleanTone tone{hz, 48000.0, Wave::eight_partials, 0.1, false, 7};
    auto samples = render(tone, 1.5);
    const std::vector<Hertz> lines{Hertz{hz + 0.3}, Hertz{5.0 * hz - 2.5}};
    for (const Hertz line : lines)
        for (std::size_t n = 0; n < samples.size(); ++n)
            samples[n] +=
                0.05F * static_cast<float>(std::cos(2.0 * std::numbers::pi * line.value() *
                                                    static_cast<double>(n) / 48000.0));
    const auto pulled = measure_pipe(samples, SampleRate{48000.0}, Hertz{hz});
    ASSERT_TRUE(pulled);
    EXPECT_GT(std::abs(testing::cents(hz, pulled->pitch.value())), 20.0 * kBudget);
    const auto reading = measure_pipe(samples, SampleRate{48000.0}, Hertz{hz}, lines);
    ASSERT_TRUE(reading);
    EXPECT_LE(std::abs(testing::cents(hz, reading->pitch.value())),
              std::max(4.0 * kBudget, 3.0 * reading->cents_sd().value()));
    std::vector<Hertz> all;
    for (int k = 1; k <= 8; ++k)
        all.push_back(Hertz{k * hz + 1.0});
    EXPECT_FALSE(measure_pipe(samples, SampleRate{48000.0}, Hertz{hz}, all));
}

// Partial k gains k times what the pitch is off, from speech to the end.
TEST(CleanTones, PartialFramesTurnWithTheBeat) {
    for (const double awaited : {41.2, 164.81, 329.63}) {
        const double hz = awaited * std::exp2(5.0 / 1200.0);
        const auto samples = render({hz, 48000.0, Wave::eight_partials, 0.2, false, 3}, 8.0);
        PipeListener listener({SampleRate{48000.0}, 1});
        listener.expect(Hertz{awaited});
        for (std::size_t i = 0; i + 480 <= samples.size(); i += 480)
            listener.process(FrameIndex{static_cast<std::int64_t>(i)}, {&samples[i], 480});
        const auto frames = listener.partial_frames();
        ASSERT_GT(frames.size(), 200U);
        const double seconds =
            static_cast<double>(frames.back().at.value - frames.front().at.value) / 48000.0;
        for (std::size_t k = 0; k < listening::kRibbonPartials; ++k) {
            double turns = 0.0;
            for (std::size_t i = 1; i < frames.size(); ++i)
                turns += static_cast<double>(
                             std::arg(frames[i].phasor[k] * std::conj(frames[i - 1].phasor[k]))) /
                         (2.0 * std::numbers::pi);
            EXPECT_NEAR(turns, static_cast<double>(k + 1) * (hz - awaited) * seconds, 0.1)
                << awaited << " partial " << k + 1;
        }
    }
}

}  // namespace clean_tones_test
}  // namespace rankwright
