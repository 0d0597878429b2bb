// The live ear on whole scenes: what becomes a reading, how soon, how true, and what doesn't. Truth
// is what each scene was made with; no recorded or simulated pipe of the product is used.
#include "listening/pipe_listener.h"

#include "support/listen_through.h"
#include "support/scene.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::listening {
namespace pipe_listener_test {

using test::at;
using test::listen_through;
using test::miss;
using test::Moment;
using test::Scene;
using test::Tone;

// First time an honest reading of about a cent stands, after the end of speech.
double first_reading(double hz, std::uint64_t seed, bool awaited, double attack = 0.05) {
    Scene scene(48000.0, 1.6, seed);
    scene.add(Tone{.hz = hz, .from_s = 0.4, .attack_s = attack, .phase_seed = seed});
    scene.add_white(0.1, 30.0);
    const auto moments = listen_through(
        scene, {.expected = awaited ? std::optional{Hertz{hz * 1.003}} : std::nullopt});
    for (const Moment& m : moments)
        if (m.hearing.reading && m.hearing.reading->cents_sd() <= Cents{1.0}) {
            EXPECT_LT(std::abs(miss(m.hearing, hz)), 3.0 * m.hearing.reading->cents_sd().value())
                << hz;
            return m.t - 0.4 - attack;
        }
    return 1e9;
}

// Design: within 150 ms from 130 Hz up, 400 ms at 32 Hz, 30 dB.
TEST(PipeListener, FirstReadingComesSoonAfterSpeech) {
    std::uint64_t seed = 70;
    for (const double hz : {130.8, 155.6, 220.0, 329.6, 523.3, 987.8, 2093.0, 4186.0, 8372.0})
        for (const bool awaited : {true, false})
            EXPECT_LE(first_reading(hz, ++seed, awaited), 0.15) << hz << " awaited " << awaited;
    for (const double hz : {32.7, 41.2, 65.4, 98.0})
        for (const bool awaited : {true, false})
            EXPECT_LE(first_reading(hz, ++seed, awaited), 0.4) << hz << " awaited " << awaited;
}

// The uncertainty holds for the pitch now: 68 % within 1 and 95 % within 2 of it, over wander.
// Bounds: three standard errors of a share from the number of independent readings (about two a
// second), on the loose side only where too many are inside.
TEST(PipeListener, UncertaintyIsHonestUnderWander) {
    int inside_one = 0;
    int inside_two = 0;
    int count = 0;
    std::uint64_t seed = 300;
    for (const double hz : {65.4, 130.8, 261.6, 523.3, 1046.5})
        for (int i = 0; i < 4; ++i) {
            ++seed;
            const auto moved = test::wander(hz < 100.0 ? 0.6 : 0.3, seed);
            Scene scene(48000.0, 4.0, seed);
            scene.add(Tone{.hz = hz, .from_s = 0.3, .cents = moved, .phase_seed = seed});
            scene.add_white(0.1, 20.0 + 5.0 * i);
            const auto moments = listen_through(scene, {.expected = Hertz{hz}});
            for (double t = 0.6; t < 3.95; t += 0.17) {
                const Hearing& hearing = at(moments, t);
                ASSERT_TRUE(hearing.reading) << hz << " Hz at " << t;
                const double truth = hz * std::exp2(moved(t) / 1200.0);
                const double ratio =
                    std::abs(miss(hearing, truth)) / hearing.reading->cents_sd().value();
                inside_one += ratio < 1.0 ? 1 : 0;
                inside_two += ratio < 2.0 ? 1 : 0;
                ++count;
            }
        }
    EXPECT_GE(inside_one, 0.60 * count);
    EXPECT_LE(inside_one, 0.86 * count);
    EXPECT_GE(inside_two, 0.91 * count);
}

TEST(PipeListener, NothingBecomesAReadingInAChamberWithoutPipes) {
    for (std::uint64_t seed = 1; seed <= 6; ++seed) {
        Scene scene(48000.0, 5.0, seed);
        scene.add_white(0.1, 30.0);
        scene.add_rumble(0.01, 40.0 + 20.0 * static_cast<double>(seed % 3));
        scene.add_hum(seed % 2 == 0 ? 50.0 : 60.0, 0.004);
        scene.add_voice(1.2, 0.4, 0.05, 110.0 + 20.0 * static_cast<double>(seed));
        scene.add_voice(3.6, 0.35, 0.03, 220.0);
        scene.add_knock(2.3, 0.3);
        scene.add_knock(2.6, 0.1);
        const auto moments = listen_through(scene);
        EXPECT_EQ(test::readings(moments), 0u) << "seed " << seed;
        EXPECT_TRUE(moments.back().hearing.suspicions.mains_hum);
    }
    EXPECT_EQ(test::readings(listen_through(std::vector<float>(48000, 0.0F), 48000.0)), 0u);
}

TEST(PipeListener, ReadsThroughHumAndRumble) {
    Scene scene(48000.0, 3.5, 5);
    scene.add_hum(50.0, 0.01);
    scene.add_rumble(0.01);
    scene.add_white(0.1, 30.0);
    scene.add(Tone{.hz = 174.6, .from_s = 1.5});
    const auto moments = listen_through(scene);
    EXPECT_EQ(at(moments, 1.45).tone, 0);
    EXPECT_FALSE(at(moments, 1.45).reading);
    EXPECT_NEAR(miss(at(moments, 3.4), 174.6), 0.0, 0.1);
    EXPECT_EQ(at(moments, 3.4).tone, 1);
}

TEST(PipeListener, AKnockOrAVoicePausesTheReadingAndNothingStartsOver) {
    Scene scene(48000.0, 6.0, 3);
    scene.add(Tone{.hz = 261.6, .from_s = 0.5});
    scene.add_white(0.1, 30.0);
    scene.add_voice(2.0, 0.4, 0.05);
    scene.add_knock(3.2, 0.3);
    scene.add_knock(3.8, 0.1);
    scene.add_voice(4.4, 0.35, 0.03, 210.0);
    const auto moments = listen_through(scene, {.expected = Hertz{261.6}});
    bool disturbed = false;
    for (const Moment& m : moments) {
        disturbed = disturbed || m.hearing.sounding == Sounding::disturbed;
        if (!m.hearing.reading || m.t < 0.7) continue;
        EXPECT_LT(std::abs(miss(m.hearing, 261.6)),
                  std::max(0.02, 3.5 * m.hearing.reading->cents_sd().value()))
            << m.t;
    }
    EXPECT_TRUE(disturbed);
    EXPECT_EQ(moments.back().hearing.tone, 1);
    for (const double t : {1.9, 2.9, 3.7, 4.3, 5.4})
        EXPECT_NEAR(miss(at(moments, t), 261.6), 0.0, 0.05) << t;
}

TEST(PipeListener, FollowsASleeveBeingTapped) {
    const std::vector<double> taps{2.0, 2.7, 3.4, 4.1};
    const auto moved = [&](double t) {
        double cents = 8.0;
        for (const double tap : taps)
            if (t > tap + 0.02) cents -= 1.5;
        return cents;
    };
    Scene scene(48000.0, 6.0, 3);
    scene.add(Tone{.hz = 261.6, .from_s = 0.5, .cents = moved});
    scene.add_white(0.1, 30.0);
    for (const double tap : taps)
        scene.add_knock(tap, 0.2);
    const auto moments = listen_through(scene, {.expected = Hertz{261.6}});
    EXPECT_EQ(moments.back().hearing.tone, 1);
    for (const double tap : taps) {
        const double t = tap + 0.45;
        EXPECT_NEAR(miss(at(moments, t), 261.6 * std::exp2(moved(t) / 1200.0)), 0.0, 0.3) << t;
    }
    EXPECT_NEAR(miss(at(moments, 5.8), 261.6 * std::exp2(2.0 / 1200.0)), 0.0, 0.05);
}

TEST(PipeListener, SaysThatThePitchMovesAndHowFast) {
    const auto moved = [](double t) { return t < 2.0 ? 0.0 : t < 3.0 ? 10.0 * (t - 2.0) : 10.0; };
    Scene scene(48000.0, 6.0, 3);
    scene.add(Tone{.hz = 392.0, .from_s = 0.5, .cents = moved});
    scene.add_white(0.1, 30.0);
    const auto moments = listen_through(scene);
    EXPECT_EQ(at(moments, 1.9).sounding, Sounding::steady);
    EXPECT_EQ(at(moments, 2.7).sounding, Sounding::moving);
    EXPECT_NEAR(miss(at(moments, 2.7), 392.0 * std::exp2(7.0 / 1200.0)), 0.0, 0.5);
    EXPECT_NEAR(at(moments, 2.9).drift_cents_a_second.value_or(0.0), 10.0, 2.0);
    EXPECT_EQ(at(moments, 5.0).sounding, Sounding::steady);
    EXPECT_NEAR(miss(at(moments, 5.0), 392.0 * std::exp2(10.0 / 1200.0)), 0.0, 0.02);
    EXPECT_NEAR(at(moments, 5.0).drift_cents_a_second.value_or(9.0), 0.0, 0.1);
}

// A pipe just handled falls as it cools.
TEST(PipeListener, MeasuresTheDriftOfACoolingPipe) {
    const auto moved = [](double t) { return 6.0 * std::exp(-t / 8.0); };
    Scene scene(48000.0, 5.0, 4);
    scene.add(Tone{.hz = 523.25, .from_s = 0.4, .cents = moved});
    scene.add_white(0.1, 30.0);
    const auto moments = listen_through(scene);
    const double slope = -6.0 / 8.0 * std::exp(-3.0 / 8.0);  // in the middle of the last 2 s
    EXPECT_NEAR(at(moments, 4.0).drift_cents_a_second.value_or(0.0), slope, 0.1);
}

TEST(PipeListener, PartsTheNotesOfAMelody) {
    const std::vector<double> notes{261.63, 293.66, 246.94, 392.0, 196.0};
    Scene scene(48000.0, 8.5, 6);
    double from = 0.5;
    for (const double hz : notes) {
        scene.add(Tone{.hz = hz,
                       .from_s = from,
                       .to_s = from + 1.2,
                       .decay_s = 1.2,
                       .phase_seed = static_cast<std::uint64_t>(hz)});
        from += 1.5;
    }
    scene.add_white(0.1, 35.0);
    const auto moments = listen_through(scene);
    for (std::size_t i = 0; i < notes.size(); ++i) {
        const double t = 0.5 + 1.5 * static_cast<double>(i) + 1.1;
        EXPECT_EQ(at(moments, t).tone, static_cast<int>(i) + 1) << notes[i];
        EXPECT_NEAR(miss(at(moments, t), notes[i]), 0.0, 0.2) << notes[i];
        EXPECT_NEAR(static_cast<double>(at(moments, t).tone_began.value) / 48000.0, t - 1.1, 0.15);
    }
    EXPECT_EQ(moments.back().hearing.sounding, Sounding::silence);
}

TEST(PipeListener, ALegatoChangeAndARepeatedNoteAreNewTones) {
    Scene scene(48000.0, 6.5, 7);
    scene.add(Tone{.hz = 220.0, .from_s = 0.5, .to_s = 2.0, .decay_s = 0.8});
    scene.add(Tone{.hz = 233.1, .from_s = 2.0, .to_s = 3.5, .decay_s = 0.8, .phase_seed = 2});
    scene.add(Tone{.hz = 233.1, .from_s = 3.9, .to_s = 5.5, .decay_s = 0.8, .phase_seed = 3});
    scene.add_white(0.1, 35.0);
    const auto moments = listen_through(scene);
    EXPECT_NEAR(miss(at(moments, 1.9), 220.0), 0.0, 0.05);
    EXPECT_NEAR(miss(at(moments, 2.9), 233.1), 0.0, 0.3);
    EXPECT_EQ(at(moments, 2.9).tone, 2);
    EXPECT_NEAR(miss(at(moments, 5.3), 233.1), 0.0, 0.1);
    EXPECT_EQ(at(moments, 5.3).tone, 3);
}

TEST(PipeListener, TheLastNotesReverberationIsNoPipe) {
    for (const double decay : {0.5, 1.5, 3.0, 5.0}) {
        Scene scene(48000.0, 5.0, 8);
        scene.add(Tone{.hz = 329.6, .from_s = 0.5, .to_s = 1.8, .decay_s = decay});
        scene.add_white(0.1, 40.0);
        const auto moments = listen_through(scene);
        EXPECT_EQ(moments.back().hearing.tone, 1) << decay;
        for (const Moment& m : moments)
            EXPECT_FALSE(m.t > 2.3 && m.hearing.reading) << decay << " s at " << m.t;
    }
}

TEST(PipeListener, APipeThatAlreadySoundsIsRead) {
    Scene scene(48000.0, 1.5, 9);
    scene.add(Tone{.hz = 196.0, .from_s = -1.0});
    scene.add_white(0.1, 30.0);
    const auto moments = listen_through(scene);
    EXPECT_NEAR(miss(moments.back().hearing, 196.0), 0.0, 0.05);
    EXPECT_EQ(moments.back().hearing.tone, 1);
}

// A harmonic flute is twice as long as its note needs, and overblown: it sounds the octave (common
// practice). Levels as in open recordings: while it speaks the body's own partials are as loud as
// the note's, then 14 to 16 dB under them, the lowest hardly there.
TEST(PipeListener, AnOverblownPipeSoundsTheOctave) {
    std::uint64_t seed = 500;
    for (const double hz : {277.2, 370.0, 554.4, 740.0}) {
        Scene scene(48000.0, 2.6, ++seed);
        scene.add(Tone{.hz = hz,
                       .timbre = {1.0, 0.13, 0.08, 0.15, 0.01},
                       .from_s = 0.3,
                       .attack_s = 0.25,
                       .phase_seed = seed});
        scene.add(Tone{.hz = 0.5 * hz,
                       .timbre = {0.0003, 0.0, 1.0, 0.0, 0.1, 0.0, 0.4, 0.0, 0.1},
                       .from_s = 0.3,
                       .attack_s = 0.02,
                       .gain = [](double t) { return t < 0.45 ? 0.7 : 0.17; },
                       .phase_seed = seed + 50});
        scene.add_white(0.1, 45.0);
        const auto moments = listen_through(scene);
        for (double t = 1.2; t < 2.5; t += 0.1) {
            const Hearing& hearing = at(moments, t);
            ASSERT_TRUE(hearing.reading) << hz << " at " << t;
            EXPECT_NEAR(miss(hearing, hz), 0.0, 5.0) << hz << " at " << t;
        }
    }
}

// In a node of the room the fundamental is hardly heard, and the even partials may set in first.
// Levels under the second partial as in a simulated visit (seed 105): 19, 12, 16, 18, 28 dB.
TEST(PipeListener, APipeWhoseFundamentalLiesInANodeKeepsItsOctave) {
    std::uint64_t seed = 600;
    for (const double hz : {116.5, 138.6, 184.0, 277.2, 370.0, 554.4, 740.0}) {
        Scene scene(48000.0, 2.2, ++seed);
        scene.add(Tone{.hz = 2.0 * hz,
                       .timbre = {1.0, 0.16, 0.04},
                       .level = 0.1,
                       .from_s = 0.3,
                       .phase_seed = seed});
        scene.add(Tone{.hz = hz,
                       .timbre = {0.11, 0.0, 0.25, 0.0, 0.125},
                       .level = 0.03,
                       .from_s = 0.55,
                       .phase_seed = seed + 50});
        scene.add_white(0.1, 45.0);
        const auto moments = listen_through(scene);
        for (double t = 1.6; t < 2.2; t += 0.1) {
            const Hearing& hearing = at(moments, t);
            ASSERT_TRUE(hearing.reading) << hz << " at " << t;
            EXPECT_NEAR(miss(hearing, hz), 0.0, 5.0) << hz << " at " << t;
        }
    }
}

// A bass reed's third partial, or a flue's octave, may stand before the rest speaks (common
// practice, no source). Nothing is said before the pipe's own note can be, and a pipe that really
// sounds the octave is read all the same.
TEST(PipeListener, WhatSpeaksFirstOfAnAwaitedPipeIsNotItsNote) {
    std::uint64_t seed = 700;
    for (const double hz : {55.0, 77.8, 110.0})
        for (const int first : {2, 3}) {
            Scene scene(48000.0, 2.4, ++seed);
            scene.add(Tone{.hz = first * hz, .from_s = 0.4, .phase_seed = seed});
            scene.add(Tone{.hz = hz, .level = 0.2, .from_s = 0.65, .phase_seed = seed + 50});
            scene.add_white(0.1, 30.0);
            const auto moments = listen_through(scene, {.expected = Hertz{hz * 1.003}});
            for (const Moment& m : moments) {
                if (!m.hearing.reading) continue;
                EXPECT_LT(std::abs(miss(m.hearing, hz)), 25.0)
                    << hz << ", partial " << first << ", at " << m.t;
            }
            EXPECT_TRUE(moments.back().hearing.reading) << hz << ", partial " << first;

            Scene higher(48000.0, 1.6, seed);
            higher.add(Tone{.hz = first * hz, .from_s = 0.4, .phase_seed = seed});
            higher.add_white(0.1, 30.0);
            const auto said = listen_through(higher, {.expected = Hertz{hz * 1.003}});
            EXPECT_NEAR(miss(at(said, 1.2), first * hz), 0.0, 1.0) << hz << ", partial " << first;
        }
}

TEST(PipeListener, AWrongKeyIsNamedAndNotPulledToTheAwaitedOne) {
    for (const double hz : {277.2, 523.25, 130.8, 174.6}) {
        Scene scene(48000.0, 1.6, 10);
        scene.add(Tone{.hz = hz, .from_s = 0.4});
        scene.add_white(0.1, 30.0);
        const auto moments = listen_through(scene, {.expected = Hertz{261.6}});
        EXPECT_NEAR(miss(moments.back().hearing, hz), 0.0, 0.1) << hz;
    }
}

}  // namespace pipe_listener_test
}  // namespace rankwright::listening
