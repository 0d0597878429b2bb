// The bank's block sums against their definition, summed naively in double precision here.
#include "listening/partial_bank.h"

#include <cmath>
#include <complex>
#include <numbers>
#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace partial_bank_test {

std::vector<float> noise(std::size_t count) {
    std::mt19937 random(7);
    std::normal_distribution<float> normal(0.0F, 0.1F);
    std::vector<float> samples(count);
    for (float& x : samples)
        x = normal(random);
    return samples;
}

TEST(PartialBank, SumsAreThoseOfTheDefinitionWhateverThePieces) {
    const std::vector<float> samples = noise(20000);
    // An hour into a stream, where careless phase would already have lost digits.
    const FrameIndex start{48000LL * 3600 + 17};
    for (const std::size_t piece : {1U, 64U, 511U, 20000U}) {
        PartialBank bank(SampleRate{48000.0}, 40, 1000);
        bank.tune(Hertz{97.3}, 40);
        for (std::size_t i = 0; i < samples.size(); i += piece) {
            const std::size_t take = std::min(piece, samples.size() - i);
            bank.process(start + static_cast<std::int64_t>(i), std::span(samples).subspan(i, take));
        }
        ASSERT_EQ(bank.blocks(), samples.size() / bank.block_frames());
        const std::size_t last = bank.blocks() - 1;
        for (const int k : {0, 1, 40}) {
            std::complex<double> sum{};
            for (std::size_t i = 0; i < bank.block_frames(); ++i) {
                const auto n = static_cast<long double>(bank.block_first(last).value +
                                                        static_cast<std::int64_t>(i));
                const long double cycles = n * k * 97.3L / 48000.0L;
                const auto turn = static_cast<double>(cycles - std::floor(cycles));
                const std::size_t at = last * bank.block_frames() + i;
                sum += static_cast<double>(samples[at]) *
                       std::polar(1.0, -2.0 * std::numbers::pi * turn);
            }
            EXPECT_NEAR(std::abs(std::complex<double>(bank.series(k)[last]) - sum), 0.0, 2e-5);
        }
    }
}

TEST(PartialBank, BlocksAreWholePeriodsAsNearlyAsFramesAllow) {
    EXPECT_EQ(whole_period_block(SampleRate{48000.0}, Hertz{60.0}, Seconds{0.0025}), 800U);
    // 2000 Hz: five periods are 120 frames exactly.
    EXPECT_EQ(whole_period_block(SampleRate{48000.0}, Hertz{2000.0}, Seconds{0.0025}), 120U);
    // 1111 Hz at 8 kHz: 3 periods are 21.6 frames, 5 are 36.0 frames.
    EXPECT_EQ(whole_period_block(SampleRate{8000.0}, Hertz{1111.0}, Seconds{0.0025}), 36U);
}

TEST(PartialBank, AGapForgetsWhatWasBefore) {
    const std::vector<float> samples = noise(4800);
    PartialBank bank(SampleRate{48000.0}, 8, 100);
    bank.tune(Hertz{440.0}, 8);
    bank.process(FrameIndex{0}, samples);
    EXPECT_GT(bank.blocks(), 10U);
    bank.process(FrameIndex{5000}, std::span(samples).first(1000));
    EXPECT_EQ(bank.block_first(0).value, 5000);
    EXPECT_EQ(bank.blocks(), 1000 / bank.block_frames());
}

TEST(PartialBank, KeepsTheNewestBlocksWhenFull) {
    const std::vector<float> samples = noise(48000);
    PartialBank small(SampleRate{48000.0}, 8, 50);
    PartialBank large(SampleRate{48000.0}, 8, 1000);
    small.tune(Hertz{440.0}, 8);
    large.tune(Hertz{440.0}, 8);
    small.process(FrameIndex{0}, samples);
    large.process(FrameIndex{0}, samples);
    ASSERT_EQ(small.blocks(), 50U);
    const std::size_t older = large.blocks() - 50;
    EXPECT_EQ(small.block_first(0), large.block_first(older));
    for (std::size_t b = 0; b < 50; ++b)
        EXPECT_EQ(small.series(3)[b], large.series(3)[older + b]);
}

}  // namespace partial_bank_test
}  // namespace rankwright::listening
