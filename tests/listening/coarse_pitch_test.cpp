// The note and octave over pitch, timbre, noise and sampling rate. Truth is what the scene was made
// with.
#include "listening/coarse_pitch.h"

#include "support/scene.h"

#include <map>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::listening {
namespace coarse_pitch_test {

using test::Scene;
using test::Timbre;
using test::Tone;

std::vector<double> pitches(double from, double to, double semitones) {
    std::vector<double> out;
    for (double hz = from; hz <= to; hz *= std::exp2(semitones / 12.0))
        out.push_back(hz);
    return out;
}

// Misses by more than 15 cents (or a third of a bin, more in the deep bass) are listed.
std::string misses(const Timbre& timbre, double rate, double snr_db, std::vector<double> at,
                   double window = 0.5) {
    std::string out;
    int n = 0;
    for (const double hz : at) {
        Scene scene(rate, window + 0.01, 40 + ++n);
        scene.add(Tone{.hz = hz,
                       .timbre = timbre,
                       .from_s = -1.0,
                       .phase_seed = static_cast<std::uint64_t>(n)});
        scene.add_white(0.1, snr_db);
        const auto found = find_pitch(scene.floats(), SampleRate{rate});
        const double miss = found ? interval(Hertz{hz}, *found).value() : 1e4;
        const double allowed = std::max(15.0, 1731.0 / 3.0 / (window * hz));
        if (std::abs(miss) > allowed)
            out += std::to_string(hz) + " Hz: " + std::to_string(miss) + " cents; ";
    }
    return out;
}

TEST(CoarsePitch, EveryTimbreKeepsItsOctaveOverTheCompass) {
    const std::map<std::string, Timbre> timbres{
        {"falling", test::falling_timbre(8)}, {"sine", test::sine_timbre()},
        {"stopped", test::stopped_timbre()},  {"reed", test::reed_timbre()},
        {"string", test::string_timbre()},    {"soft", test::falling_timbre(6, 2.0)}};
    for (const auto& [name, timbre] : timbres)
        for (const double snr : {12.0, 30.0, 60.0})
            EXPECT_EQ(misses(timbre, 48000.0, snr, pitches(15.45, 8400.0, 3.1)), "")
                << name << " at " << snr << " dB";
}

TEST(CoarsePitch, HearsTheMissingFundamental) {
    for (const int first : {2, 3, 5}) {
        const Timbre thin = test::without_bass(test::reed_timbre(), first);
        EXPECT_EQ(misses(thin, 48000.0, 25.0, pitches(15.45, 520.0, 2.3)), "") << first;
    }
    const Timbre deep = test::without_bass(test::falling_timbre(14, 0.7), 6);
    EXPECT_EQ(misses(deep, 48000.0, 25.0, pitches(15.45, 40.0, 1.0)), "");
}

TEST(CoarsePitch, WorksAtEverySamplingRate) {
    for (const double rate : {8000.0, 11025.0, 16000.0, 22050.0, 44100.0, 96000.0, 192000.0}) {
        const double top = std::min(8400.0, 0.4 * rate);
        EXPECT_EQ(misses(test::falling_timbre(8), rate, 25.0, pitches(16.0, top, 7.3)), "") << rate;
        EXPECT_EQ(misses(test::stopped_timbre(), rate, 25.0, pitches(31.0, top, 7.3)), "") << rate;
    }
}

TEST(CoarsePitch, SurvivesHumAndRumbleUnderThePipe) {
    int n = 0;
    for (const double hz : pitches(32.0, 4200.0, 3.7)) {
        Scene scene(48000.0, 0.6, ++n);
        scene.add(Tone{.hz = hz, .from_s = -1.0});
        scene.add_hum(n % 2 == 0 ? 50.0 : 60.0, 0.01);
        scene.add_rumble(0.01);
        scene.add_white(0.1, 30.0);
        const auto found = find_pitch(scene.floats(), SampleRate{48000.0});
        ASSERT_TRUE(found) << hz;
        EXPECT_NEAR(interval(Hertz{hz}, *found).value(), 0.0, std::max(15.0, 1731.0 / 1.5 / hz));
    }
}

TEST(CoarsePitch, SurvivesClippingThirtyDecibelsOverFullScale) {
    int n = 0;
    for (const double hz : pitches(33.0, 4200.0, 3.7)) {
        Scene scene(48000.0, 0.6, ++n);
        scene.add(Tone{.hz = hz, .level = 1.0, .from_s = -1.0});
        scene.add_white(1.0, 40.0);
        scene.clip(31.6);
        const auto found = find_pitch(scene.floats(), SampleRate{48000.0});
        ASSERT_TRUE(found) << hz;
        EXPECT_NEAR(interval(Hertz{hz}, *found).value(), 0.0, std::max(15.0, 1731.0 / 1.5 / hz));
    }
}

// Seen in open recordings: an oboe whose strokes differ by turns has lines midway between its
// partials, many of them, 35 dB down; a harmonic flute has the wind's noise there.
TEST(CoarsePitch, FaintLinesBetweenThePartialsAreNoLowerOctave) {
    for (const double hz : {110.0, 392.0, 784.0, 1500.0}) {
        Timbre strokes = test::reed_timbre();
        Timbre turns(2 * strokes.size(), 0.0);
        for (std::size_t k = 0; k < strokes.size(); ++k) {
            turns[2 * k + 1] = strokes[k];
            if (k >= 2) turns[2 * k] = 0.018 * strokes[k];
        }
        Scene reed(48000.0, 0.51, 77);
        reed.add({.hz = 0.5 * hz, .timbre = turns, .from_s = -1.0}).add_white(0.1, 60.0);
        const auto of_reed = find_pitch(reed.floats(), SampleRate{48000.0});
        ASSERT_TRUE(of_reed) << hz;
        EXPECT_NEAR(interval(Hertz{hz}, *of_reed).value(), 0.0, 20.0);

        Scene flute(48000.0, 0.51, 78);
        flute.add({.hz = hz, .timbre = {1.0, 0.3, 0.3, 0.08, 0.06}, .from_s = -1.0});
        flute.add_white(0.1, 60.0);
        std::normal_distribution<double> spread(0.0, 0.008);
        for (int line = 0; line < 12; ++line)
            flute.add({.hz = hz * (1.515 + spread(flute.random())),
                       .timbre = test::sine_timbre(),
                       .level = 0.004,
                       .from_s = -1.0,
                       .phase_seed = static_cast<std::uint64_t>(line + 1)});
        const auto of_flute = find_pitch(flute.floats(), SampleRate{48000.0});
        ASSERT_TRUE(of_flute) << hz;
        EXPECT_NEAR(interval(Hertz{hz}, *of_flute).value(), 0.0, 20.0);
    }
}

TEST(CoarsePitch, FindsNothingInNoise) {
    int found = 0;
    for (int n = 0; n < 60; ++n) {
        Scene scene(48000.0, 0.5, 900 + n);
        scene.add_white(0.1, 0.0);
        CoarsePitch coarse({.rate = SampleRate{48000.0}, .window = Seconds{0.25}});
        coarse.look(scene.floats());
        const auto reading = coarse.find();
        found += reading.has_value() ? 1 : 0;
    }
    EXPECT_LE(found, 3);
}

TEST(CoarsePitch, TooShortAWindowFindsNothing) {
    CoarsePitch coarse({.rate = SampleRate{48000.0}, .window = Seconds{0.1}});
    const std::vector<float> few(100, 0.1F);
    coarse.look(few);
    EXPECT_FALSE(coarse.find());
    EXPECT_FALSE(find_pitch({}, SampleRate{48000.0}));
}

}  // namespace coarse_pitch_test
}  // namespace rankwright::listening
