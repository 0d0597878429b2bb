// Where a key of several pipes is held in a recording. Truth is what the scene was made with.
#include "listening/held_span.h"

#include "support/scene.h"

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace held_span_test {

using test::Scene;
using test::Tone;

constexpr SampleRate kRate{48000.0};

struct Held {
    double from, to;
};

Held held(const Scene& scene) {
    const std::vector<float> sound = scene.floats();
    const SteadySpan span = held_span(sound, kRate);
    const double from = static_cast<double>(span.first) / kRate.value();
    return {from, from + static_cast<double>(span.count) / kRate.value()};
}

/// Two pipes of a mixture; after the key is let go they die away.
Scene key(double seconds, double from, double to) {
    Scene scene(kRate.value(), seconds, 7);
    scene.add(Tone{.hz = 523.4, .level = 0.1, .from_s = from, .to_s = to, .decay_s = 1.0});
    scene.add(Tone{.hz = 786.1, .level = 0.08, .from_s = from, .to_s = to, .decay_s = 1.0});
    return std::move(scene.add_white(0.1, 40.0));
}

TEST(HeldSpan, LeavesOutSilenceSpeechAndDyingAway) {
    const auto [from, to] = held(key(6.0, 1.0, 4.0));
    EXPECT_GT(from, 1.2);
    EXPECT_LT(from, 1.5);
    EXPECT_GT(to, 3.7);
    EXPECT_LE(to, 4.0);
}

TEST(HeldSpan, IsAllWhereTheKeyIsHeldThroughout) {
    const auto [from, to] = held(key(2.4, -1.0, 9.0));
    EXPECT_EQ(from, 0.0);
    EXPECT_DOUBLE_EQ(to, 2.4);
}

// There is nothing softer before it by which its speech could be known.
TEST(HeldSpan, LeavesOutTheSpeechOfAKeyWithWhichTheRecordingBegins) {
    for (const double silence : {0.0, 0.02}) {
        const auto [from, to] = held(key(2.4, silence, 9.0));
        EXPECT_GE(from, 0.3);
        EXPECT_LT(from, 0.5);
        EXPECT_DOUBLE_EQ(to, 2.4);
    }
}

TEST(HeldSpan, IsAllOfTwoPipesThatBeat) {
    Scene scene(kRate.value(), 2.4, 8);
    scene.add(Tone{.hz = 523.4, .level = 0.1, .from_s = -1.0});
    scene.add(Tone{.hz = 524.1, .level = 0.1, .from_s = -1.0});
    const auto [from, to] = held(scene.add_white(0.1, 40.0));
    EXPECT_LT(from, 0.6);
    EXPECT_GT(to, 2.0);
}

TEST(HeldSpan, AKnockInTheSilenceIsNoKey) {
    Scene scene = key(6.0, 1.0, 4.0);
    scene.add_knock(0.2, 0.5).add_knock(5.2, 0.5);
    const auto [from, to] = held(scene);
    EXPECT_GT(from, 1.2);
    EXPECT_LT(from, 1.5);
    EXPECT_GT(to, 3.7);
    EXPECT_LE(to, 4.0);
}

TEST(HeldSpan, OfSilenceOrTooLittleIsAll) {
    const std::vector<float> silence(48000, 0.0F);
    EXPECT_EQ(held_span(silence, kRate).count, silence.size());
    const std::vector<float> short_one(100, 0.1F);
    EXPECT_EQ(held_span(short_one, kRate).count, short_one.size());
    EXPECT_EQ(held_span({}, kRate).count, 0U);
}

}  // namespace held_span_test
}  // namespace rankwright::listening
