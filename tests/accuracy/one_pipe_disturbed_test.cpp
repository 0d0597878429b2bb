// One pipe while somebody knocks on wood or says a word inside the span. Truth is what the scene
// was made with.
#include "listening/measure.h"
#include "support/coverage.h"
#include "support/results_file.h"
#include "support/scene.h"

#include <cmath>
#include <string>

#include <gtest/gtest.h>

namespace rankwright::testing {
namespace one_pipe_disturbed_test {

using test::Scene;
using test::Tone;

constexpr double kRate = 48000.0;
constexpr double kLevel = 0.1;

struct Disturbance {
    const char* name;
    double loudness;  ///< peak of a knock, or root mean square of a word
    double seconds;   ///< of the span
};

/// A pipe of the compass, its disturbance somewhere inside.
Scene disturbed(const Disturbance& what, double hz, int number) {
    const auto seed = static_cast<std::uint64_t>(number);
    Scene scene(kRate, what.seconds + 0.01, seed);
    const test::Timbre timbres[] = {test::falling_timbre(8), test::stopped_timbre(),
                                    test::reed_timbre()};
    scene.add(Tone{.hz = hz,
                   .timbre = timbres[number % 3],
                   .level = kLevel,
                   .from_s = -1.0,
                   .phase_seed = seed});
    scene.add_white(kLevel, 35.0);
    std::uniform_real_distribution<double> place(0.05, 0.8);
    const double at = place(scene.random()) * (what.seconds - 0.35);
    if (std::string(what.name) == "word")
        scene.add_voice(at, 0.35, what.loudness);
    else
        scene.add_knock(at, what.loudness);
    return scene;
}

class OneDisturbedPipe : public ::testing::TestWithParam<Disturbance> {};

TEST_P(OneDisturbedPipe, IsReadByItsUndisturbedPart) {
    const Disturbance what = GetParam();
    auto csv = results_file(std::string("disturbed_") + what.name + "_" +
                                std::to_string(static_cast<int>(1000 * what.loudness)) + "_" +
                                std::to_string(static_cast<int>(1000 * what.seconds)),
                            "hz,error_cents,sd_cents");
    Errors errors;
    constexpr int kCases = 24;
    for (int i = 0; i < kCases; ++i) {
        const double hz = 60.0 * std::exp2(5.0 * i / kCases);
        const std::vector<float> sound = disturbed(what, hz, 500 + i).floats();
        const auto reading = listening::measure_pipe(sound, SampleRate{kRate}, Hertz{1.01 * hz});
        if (!reading) continue;
        const double error = interval(Hertz{hz}, reading->pitch).value();
        errors.add(error, reading->cents_sd().value());
        csv << hz << ',' << error << ',' << reading->cents_sd().value() << '\n';
    }
    EXPECT_GE(errors.count(), static_cast<std::size_t>(kCases - 1));
    EXPECT_LE(errors.median(), 0.002);
    EXPECT_LE(errors.worst(), 0.3);
    // Of 24, three standard deviations of a binomial share.
    EXPECT_GE(errors.within(1.0), 0.40);
    EXPECT_GE(errors.within(2.0), 0.82);
    std::printf("%s %.2f, %.1f s: median %.5f, worst %.4f cents; within 1 sd %.2f, 2 sd %.2f\n",
                what.name, what.loudness, what.seconds, errors.median(), errors.worst(),
                errors.within(1.0), errors.within(2.0));
}

INSTANTIATE_TEST_SUITE_P(
    Kinds, OneDisturbedPipe,
    ::testing::Values(Disturbance{"knock", 0.1, 0.6}, Disturbance{"knock", 0.1, 1.2},
                      Disturbance{"knock", 1.0, 1.2}, Disturbance{"word", 0.02, 1.2},
                      Disturbance{"word", 0.07, 1.2}, Disturbance{"word", 0.2, 1.2}),
    [](const auto& at) {
        return std::string(at.param.name) +
               std::to_string(static_cast<int>(1000 * at.param.loudness)) + "in" +
               std::to_string(static_cast<int>(1000 * at.param.seconds)) + "ms";
    });

}  // namespace one_pipe_disturbed_test
}  // namespace rankwright::testing
