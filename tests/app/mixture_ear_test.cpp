// A mixture's key heard live by two microphones, one of which stands where the room's standing wave
// leaves nothing of a pipe (L. E. Kinsler and others, Fundamentals of Acoustics, on room modes;
// from memory).
#include "app/mixture_ear.h"

#include "support/scene.h"

#include <cmath>

#include <gtest/gtest.h>

namespace rankwright::app {
namespace mixture_ear_test {

constexpr SampleRate kRate{48000.0};
constexpr Seconds kSpan{2.4};

listening::MixtureRequest request() {
    return {
        .rate = kRate, .unison = Hertz{261.6}, .pipes = {{2, 1}, {3, 1}, {4, 1}}, .reference = {}};
}

constexpr double kOff_cents[] = {1.7, -3.1, 2.6};

/// `deaf`: the pipe of which nothing is heard there, if any.
std::vector<float> microphone(double gain, std::optional<std::size_t> deaf) {
    test::Scene scene(kRate.value(), kSpan.count() + 0.1, 3);
    for (std::size_t j = 0; j < 3; ++j) {
        if (j == deaf) continue;
        const auto wander = test::wander(0.05, 20 + j);
        scene.add({.hz = 261.6 * static_cast<double>(j + 2),
                   .level = gain,
                   .cents = [=](double t) { return kOff_cents[j] + wander(t); },
                   .phase_seed = 10 + j});
    }
    return scene.add_white(gain, 40.0).floats();
}

std::optional<listening::MixtureReading> hear(const std::vector<float>& left,
                                              const std::vector<float>& right) {
    MixtureEar ear(kSpan, MixtureEar::When::at_once);
    for (std::size_t at = 0; at + capture::kBlockFrames <= left.size();
         at += capture::kBlockFrames) {
        capture::CaptureBlock block;
        block.first = FrameIndex{static_cast<std::int64_t>(at)};
        block.rate = kRate;
        block.frames = capture::kBlockFrames;
        block.channels = 2;
        for (std::size_t i = 0; i < capture::kBlockFrames; ++i) {
            block.samples[2 * i] = left[at + i];
            block.samples[2 * i + 1] = right[at + i];
        }
        ear.hear(block);
    }
    if (!ear.ask(1, request())) return std::nullopt;
    const auto answer = ear.answer();
    return answer ? answer->reading : std::nullopt;
}

TEST(MixtureEar, APipeThatOneMicrophoneDoesntHearIsHeardByTheOther) {
    const auto reading = hear(microphone(0.1, 1), microphone(0.05, std::nullopt));
    ASSERT_TRUE(reading);
    for (std::size_t j = 0; j < 3; ++j) {
        const listening::MixturePipeReading& pipe = reading->pipes[j];
        ASSERT_EQ(pipe.presence, listening::Presence::sounding) << j;
        EXPECT_NEAR(pipe.cents->value(), kOff_cents[j], 0.1) << j;
    }
}

TEST(MixtureEar, APipeThatNeitherHearsIsSilent) {
    const auto reading = hear(microphone(0.1, 1), microphone(0.05, 1));
    ASSERT_TRUE(reading);
    EXPECT_EQ(reading->pipes[1].presence, listening::Presence::silent);
}

}  // namespace mixture_ear_test
}  // namespace rankwright::app
