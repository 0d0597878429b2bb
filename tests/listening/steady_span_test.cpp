// Where a pipe stands in a recording that holds more than one steady pipe. Truth is what the scene
// was made with.
#include "listening/measure.h"
#include "support/scene.h"

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
