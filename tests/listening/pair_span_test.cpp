// Where a reference and a pipe sound together. Truth is what the scene was made with.
#include "listening/pair/span.h"
#include "support/scene.h"

#include <cmath>
#include <numbers>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace pair_span_test {

using test::Scene;
using test::Tone;

constexpr SampleRate kRate{48000.0};

struct Heard {
    double from, to;
};

Heard heard(const Scene& scene) {
    const std::vector<float> sound = scene.floats();
    const SteadySpan span = pair_span(sound, {kRate, Hertz{262.0}, Hertz{0.1}, 1, 1});
    const double from = static_cast<double>(span.first) / kRate.value();
    return {from, from + static_cast<double>(span.count) / kRate.value()};
}

Tone stopped(double from_s, double to_s) {
    return {.hz = 262.0,
            .timbre = test::stopped_timbre(),
            .from_s = from_s,
            .to_s = to_s,
            .decay_s = 1.0};
}

Tone open(double from_s, double to_s) {
    return {.hz = 262.9, .from_s = from_s, .to_s = to_s, .decay_s = 1.0, .phase_seed = 2};
}

TEST(PairSpan, LeavesOutSilenceSpeechAndDyingAway) {
    Scene scene(kRate.value(), 7.0, 3);
    scene.add(stopped(1.0, 5.0)).add(open(1.0, 5.0)).add_white(0.1, 45.0);
    const auto [from, to] = heard(scene);
    EXPECT_GT(from, 1.2);
    EXPECT_LT(from, 1.7);
    EXPECT_GT(to, 4.0);
    EXPECT_LE(to, 5.0);
}

TEST(PairSpan, LeavesOutTheSpeechOfTwoWithWhichTheRecordingBegins) {
    Scene scene(kRate.value(), 4.0, 3);
    scene.add(stopped(0.0, 9.0)).add(open(0.0, 9.0)).add_white(0.1, 45.0);
    const auto [from, to] = heard(scene);
    EXPECT_GE(from, 0.3);
    EXPECT_LT(from, 0.7);
    EXPECT_GT(to, 3.5);
}

// The even partials are the open pipe's alone.
TEST(PairSpan, BeginsWhereTheLaterOneStandsAndEndsWithTheFirst) {
    Scene later(kRate.value(), 7.0, 4);
    later.add(stopped(0.5, 6.0)).add(open(2.5, 6.0)).add_white(0.1, 45.0);
    EXPECT_GT(heard(later).from, 2.7);
    EXPECT_LT(heard(later).from, 3.2);
    Scene earlier(kRate.value(), 7.0, 5);
    earlier.add(stopped(0.5, 6.0)).add(open(0.5, 3.5)).add_white(0.1, 45.0);
    EXPECT_GT(heard(earlier).to, 2.7);
    EXPECT_LE(heard(earlier).to, 3.5);
}

// The softer of two alike takes no partial away with it, and too little power.
TEST(PairSpan, OfTwoAlikeBeginsAndEndsWithTheSofter) {
    const Tone louder{.hz = 262.0, .from_s = 0.5, .to_s = 6.0, .decay_s = 1.0};
    Tone softer{.hz = 263.0, .level = 0.04, .from_s = 0.5, .to_s = 3.5, .decay_s = 1.0};
    softer.phase_seed = 2;
    Scene earlier(kRate.value(), 7.0, 7);
    earlier.add(louder).add(softer).add_white(0.1, 45.0);
    EXPECT_GT(heard(earlier).to, 2.7);
    EXPECT_LE(heard(earlier).to, 3.8);
    softer.from_s = 2.5;
    softer.to_s = 6.0;
    Scene later(kRate.value(), 7.0, 8);
    later.add(louder).add(softer).add_white(0.1, 45.0);
    EXPECT_GT(heard(later).from, 2.4);
    EXPECT_LT(heard(later).from, 3.3);
    EXPECT_GT(heard(later).to, 5.0);
}

// Two alike that beat once in five seconds: hardly anything is weaker where one sounds alone, and
// stretches of a second don't need two. It was heard from 0.8 s on.
TEST(PairSpan, OfTwoThatBeatSlowlyBeginsWithTheLater) {
    for (const bool reference : {true, false}) {
        Tone first{.hz = 262.0, .timbre = test::falling_timbre(6), .from_s = 0.5, .to_s = 4.2};
        Tone later{.hz = 262.2, .timbre = test::falling_timbre(6, 1.2), .from_s = 2.0, .to_s = 4.2};
        if (reference) std::swap(first.hz, later.hz);
        later.phase_seed = 2;
        Scene scene(kRate.value(), 4.6, 11);
        scene.add(first).add(later).add_white(0.1, 45.0);
        EXPECT_GT(heard(scene).from, 1.9);
        EXPECT_LT(heard(scene).from, 2.8);
        EXPECT_GT(heard(scene).to, heard(scene).from + 0.6);
    }
}

TEST(PairSpan, OfTwoThatBeatThroughoutNothingIsLeftOut) {
    Scene scene(kRate.value(), 7.0, 9);
    scene.add({.hz = 262.0, .from_s = -1.0}).add({.hz = 262.7, .from_s = -1.0, .phase_seed = 2});
    const auto [from, to] = heard(scene.add_white(0.1, 45.0));
    EXPECT_EQ(from, 0.0);
    EXPECT_GT(to, 6.5);
}

// A treble pipe's wander is no silence, however long it is heard.
TEST(PairSpan, OfTwoThatWanderForLongNothingIsLeftOut) {
    Scene scene(kRate.value(), 14.0, 10);
    const auto wander = [](double every_s) {
        return [every_s](double t) { return 0.4 * std::sin(2.0 * std::numbers::pi * t / every_s); };
    };
    scene.add({.hz = 1046.0, .from_s = -1.0, .cents = wander(2.3)});
    scene.add({.hz = 1046.5, .level = 0.05, .from_s = -1.0, .cents = wander(3.1), .phase_seed = 2});
    const std::vector<float> sound = scene.add_white(0.1, 45.0).floats();
    const SteadySpan span = pair_span(sound, {kRate, Hertz{1046.0}, Hertz{0.2}, 1, 1});
    EXPECT_LT(static_cast<double>(span.first), 0.3 * kRate.value());
    EXPECT_GT(static_cast<double>(span.count), 13.4 * kRate.value());
}

// Where two as loud as one another beat once in eight seconds, nothing is heard for a while.
TEST(PairSpan, ASlowBeatIsNoEnd) {
    Scene scene(kRate.value(), 12.0, 6);
    scene.add({.hz = 262.0, .timbre = test::sine_timbre(), .from_s = -1.0});
    scene.add({.hz = 262.125, .timbre = test::sine_timbre(), .from_s = -1.0});
    const auto [from, to] = heard(scene.add_white(0.1, 45.0));
    EXPECT_GT(to - from, 8.0);
}

TEST(PairSpan, IsAllWhereNothingIsHeardOrTooLittle) {
    const std::vector<float> silence(48000, 0.0F);
    const PairRequest request{kRate, Hertz{262.0}, Hertz{0.1}, 1, 1};
    EXPECT_EQ(pair_span(silence, request).count, silence.size());
    const std::vector<float> short_one(100, 0.1F);
    EXPECT_EQ(pair_span(short_one, request).count, short_one.size());
    EXPECT_EQ(pair_span({}, request).count, 0U);
}

}  // namespace pair_span_test
}  // namespace rankwright::listening
