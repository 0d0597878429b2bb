// Where a pipe stands in a recording that holds more than one steady pipe. Truth is what the scene
// was made with.
#include "listening/measure.h"
#include "support/scene.h"

#include <cmath>
#include <optional>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace steady_span_test {

using test::Scene;
using test::Tone;

constexpr double kRate = 48000.0;

/// Four notes with pauses in twenty seconds; the third, and not the loudest, stands longest.
Scene survey() {
    Scene scene(kRate, 20.0, 5);
    scene.add(Tone{.hz = 261.9, .level = 0.15, .from_s = 0.5, .to_s = 3.0, .decay_s = 1.0});
    scene.add(Tone{.hz = 294.1, .level = 0.1, .from_s = 4.0, .to_s = 6.5, .decay_s = 1.0});
    scene.add(Tone{.hz = 392.7, .level = 0.1, .from_s = 8.0, .to_s = 13.0, .decay_s = 1.0});
    scene.add(Tone{.hz = 523.4, .level = 0.12, .from_s = 14.5, .to_s = 18.0, .decay_s = 1.0});
    return std::move(scene.add_white(0.1, 40.0));
}

struct Span {
    double hz, from_s, to_s;
};

void expect_span(const std::vector<float>& sound, std::optional<Hertz> near, const Span& truth) {
    const auto found = find_steady(sound, SampleRate{kRate}, near);
    ASSERT_TRUE(found) << truth.hz;
    EXPECT_NEAR(static_cast<double>(found->first) / kRate, truth.from_s, 0.2) << truth.hz;
    EXPECT_NEAR(static_cast<double>(found->first + found->count) / kRate, truth.to_s, 0.2)
        << truth.hz;
    const auto reading =
        measure_pipe(std::span(sound).subspan(found->first, found->count), SampleRate{kRate}, near);
    ASSERT_TRUE(reading) << truth.hz;
    EXPECT_NEAR(interval(Hertz{truth.hz}, reading->pitch).value(), 0.0, 0.01);
}

TEST(SteadySpan, OfSeveralNotesIsTheLongestOrTheOneAskedFor) {
    const std::vector<float> sound = survey().floats();
    expect_span(sound, std::nullopt, {392.7, 8.0, 13.0});
    expect_span(sound, Hertz{293.0}, {294.1, 4.0, 6.5});
    expect_span(sound, Hertz{525.0}, {523.4, 14.5, 18.0});
    // The octave above stands longer, and is not what was asked for.
    expect_span(sound, Hertz{262.0}, {261.9, 0.5, 3.0});
    EXPECT_FALSE(find_steady(sound, SampleRate{kRate}, Hertz{131.0}));
    EXPECT_FALSE(find_steady(sound, SampleRate{kRate}, Hertz{700.0}));
}

TEST(SteadySpan, GoesOnUnderAKnockAndAWord) {
    Scene scene(kRate, 4.0, 6);
    scene.add(Tone{.hz = 349.2, .from_s = -1.0}).add_white(0.1, 40.0);
    scene.add_knock(1.2, 0.5).add_voice(2.4, 0.4, 0.1);
    expect_span(scene.floats(), std::nullopt, {349.2, 0.0, 4.0});
}

/// A pipe whose key goes down at `from_s`: it creeps to its pitch by `creep` cents while its level
/// and the room's grow.
Tone speaking(double from_s, double creep) {
    Tone tone{.hz = 311.4, .from_s = from_s, .to_s = 9.0, .attack_s = 0.12};
    const auto wanders = test::wander(0.1, 4);
    tone.cents = [=](double t) {
        return wanders(t) - creep * std::exp(-std::max(0.0, t - from_s) / 0.06);
    };
    return tone;
}

std::optional<PitchReading> standing(const Tone& tone, double seconds, std::uint64_t seed) {
    Scene scene(kRate, seconds, seed);
    scene.add(tone).add_white(0.1, 45.0);
    const auto pipe = measure_standing(scene.floats(), SampleRate{kRate});
    return pipe ? std::optional{pipe->reading} : std::nullopt;
}

// The pipe that has long spoken is heard over the same span.
TEST(SteadySpan, LeavesOutTheSpeechOfAKeyWithNothingBeforeIt) {
    for (const double from_s : {0.0, 0.02, 0.6}) {
        for (const double seconds : {1.0, 2.4}) {
            const auto heard = standing(speaking(from_s, 6.0), seconds + from_s, 8);
            ASSERT_TRUE(heard) << from_s;
            const double begins_s = static_cast<double>(heard->from.value) / kRate;
            EXPECT_GT(begins_s, from_s + 0.12);
            EXPECT_LT(begins_s, from_s + 0.6 * seconds);
            Scene steady(kRate, seconds + from_s, 8);
            Tone long_spoken = speaking(from_s, 0.0);
            long_spoken.from_s = -2.0;
            steady.add(long_spoken).add_white(0.1, 45.0);
            const std::vector<float> sound = steady.floats();
            const auto count = static_cast<std::size_t>(heard->to - heard->from);
            const auto truth = measure_pipe(
                std::span(sound).subspan(static_cast<std::size_t>(heard->from.value), count),
                SampleRate{kRate});
            ASSERT_TRUE(truth);
            EXPECT_NEAR(interval(truth->pitch, heard->pitch).value(), 0.0, 0.01)
                << from_s << ' ' << seconds;
        }
    }
}

TEST(SteadySpan, OfHalfASecondWithSpeechTheReadingSaysHowMuchItMayBeMoved) {
    const auto heard = standing(speaking(0.0, 8.0), 0.5, 9);
    ASSERT_TRUE(heard);
    const double error = interval(Hertz{311.4}, heard->pitch).value();
    EXPECT_LT(std::abs(error), 3.0 * heard->cents_sd().value());
    EXPECT_GT(heard->cents_sd().value(), 0.02);
    EXPECT_LT(heard->cents_sd().value(), 0.5);
}

TEST(SteadySpan, LosesNothingInTheMiddleOfATone) {
    for (std::uint64_t seed = 1; seed <= 8; ++seed) {
        Tone tone{.hz = 220.0 * static_cast<double>(seed), .from_s = -2.0, .to_s = 9.0};
        tone.cents = test::wander(0.3, seed);
        for (const double seconds : {0.5, 1.0, 2.4}) {
            const auto heard = standing(tone, seconds, seed);
            ASSERT_TRUE(heard);
            EXPECT_LT(static_cast<double>(heard->from.value) / kRate, 0.005) << seed;
            EXPECT_LT(heard->cents_sd().value(), 0.03);
        }
    }
}

TEST(SteadySpan, SpeechAloneIsNoPipe) {
    for (const double pitch : {95.0, 125.0, 210.0}) {
        Scene scene(kRate, 5.0, static_cast<std::uint64_t>(pitch));
        for (const double at : {0.3, 1.0, 1.8, 3.1, 4.2})
            scene.add_voice(at, 0.5, 0.07, pitch);
        scene.add_white(0.1, 40.0);
        EXPECT_FALSE(find_steady(scene.floats(), SampleRate{kRate})) << pitch;
    }
}

}  // namespace steady_span_test
}  // namespace rankwright::listening
