// How a pipe came to its pitch. Truth is the synthetic tone's own.
#include "tuning/way_in.h"

#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::tuning {
namespace way_in_test {

constexpr SampleRate kRate{24000.0};

FrameIndex at(double seconds) {
    return FrameIndex{static_cast<std::int64_t>(seconds * kRate.value())};
}

/// Noise, and from `onset_s` on a tone of six partials.
std::vector<float> tone_in_noise(double hz, double onset_s, double seconds) {
    std::mt19937_64 random(1);
    std::normal_distribution<float> noise(0.0F, 1e-4F);
    std::vector<float> samples(static_cast<std::size_t>(seconds * kRate.value()));
    for (std::size_t m = 0; m < samples.size(); ++m) {
        samples[m] = noise(random);
        const double t = static_cast<double>(m) / kRate.value() - onset_s;
        if (t < 0.0) continue;
        for (int k = 1; k <= 6; ++k)
            samples[m] += static_cast<float>(0.1 * std::pow(0.5, k) *
                                             std::sin(2.0 * std::numbers::pi * k * hz * t + k));
    }
    return samples;
}

// In a simulated visit the ear read a good pipe of 131 Hz for its last third of a second only. Its
// sound is cut a little before that ends, so that the middle of the reading was too near to the
// cut; nothing was measured, and the pipe was said to be slow of speech.
TEST(WayIn, APipeReadAtItsEndOnlyIsFollowedBackToItsOnset) {
    constexpr double kPitch_hz = 131.43;
    HeardTone tone;
    tone.from = at(0.82);
    tone.stood = at(2.21);
    tone.to = at(2.56);
    tone.left = at(2.70);
    tone.pitch = tone.about = Hertz{kPitch_hz};
    tone.speech = Seconds{1.63};
    tone.read = true;
    const auto way = way_in(tone, FrameIndex{}, tone_in_noise(kPitch_hz, 0.82, 2.48), kRate);
    ASSERT_TRUE(way.has_value());
    EXPECT_FALSE(way->crept);
    EXPECT_NEAR(duration(way->from - FrameIndex{}, kRate).count(), 0.82, 0.2);
}

}  // namespace way_in_test
}  // namespace rankwright::tuning
