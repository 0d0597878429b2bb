// What lies in the sound is noticed, and what can be survived is; and the answer depends neither on
// the pieces the sound comes in nor on gain or sampling rate.
#include "listening/pipe_listener.h"
#include "support/allocation_count.h"
#include "support/listen_through.h"
#include "support/scene.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::listening {
namespace listener_suspicions_test {

using test::at;
using test::listen_through;
using test::miss;
using test::Moment;
using test::Scene;
using test::Tone;

Scene plain(double hz = 261.6, double rate = 48000.0) {
    Scene scene(rate, 3.0, 11);
    scene.add(Tone{.hz = hz, .from_s = 0.5, .to_s = 2.6, .decay_s = 0.5});
    scene.add_white(0.1, 30.0);
    return scene;
}

TEST(ListenerSuspicions, ClippingThirtyDecibelsOverFullScaleIsSaidAndSurvived) {
    for (const double hz : {49.0, 131.0, 262.0, 1047.0, 2093.0}) {
        Scene scene(48000.0, 2.2, 12);
        scene.add(Tone{.hz = hz, .level = 1.0, .from_s = 0.5});
        scene.add_white(1.0, 40.0);
        scene.clip(31.6);
        const auto moments = listen_through(scene);
        EXPECT_TRUE(moments.back().hearing.suspicions.clipping) << hz;
        EXPECT_GT(moments.back().hearing.input.clipped, 0.3) << hz;
        EXPECT_NEAR(miss(moments.back().hearing, hz), 0.0, 0.05) << hz;
    }
    for (const Moment& m : listen_through(plain()))
        EXPECT_FALSE(m.hearing.suspicions.clipping);
}

TEST(ListenerSuspicions, ATremulantIsSeenAndGivesNoReading) {
    for (const double speed : {3.6, 5.1, 7.0}) {
        const auto pitch = [=](double t) { return 5.0 * std::sin(6.2832 * speed * t); };
        const auto level = [=](double t) {
            return 1.0 + 0.15 * std::sin(6.2832 * speed * t + 0.6);
        };
        Scene scene(48000.0, 4.0, 13);
        scene.add(Tone{.hz = 349.2, .from_s = 0.4, .cents = pitch, .gain = level});
        scene.add_white(0.1, 30.0);
        const auto moments = listen_through(scene);
        int seen = 0;
        for (const Moment& m : moments)
            if (m.t > 2.0 && m.hearing.suspicions.tremulant) ++seen;
        EXPECT_GT(seen, 180) << speed;  // of 200
        EXPECT_FALSE(moments.back().hearing.reading);
    }
    const auto still = test::wander(0.5, 3);
    Scene scene(48000.0, 4.0, 13);
    scene.add(Tone{.hz = 349.2, .from_s = 0.4, .cents = still});
    scene.add_white(0.1, 30.0);
    for (const Moment& m : listen_through(scene))
        EXPECT_FALSE(m.hearing.suspicions.tremulant);
}

TEST(ListenerSuspicions, FadingByGainControlIsNamedAndTheReadingStays) {
    const auto fade = [](double t) {
        return t < 1.5 ? 1.0 : std::pow(10.0, -std::min(18.0, 5.0 * (t - 1.5)) / 20.0);
    };
    Scene scene(48000.0, 5.0, 14);
    scene.add(Tone{.hz = 261.6, .from_s = 0.5, .gain = fade});
    scene.add_white(0.1, 40.0);
    const auto moments = listen_through(scene);
    EXPECT_FALSE(at(moments, 1.4).suspicions.fading);
    EXPECT_TRUE(at(moments, 3.5).suspicions.fading);
    EXPECT_NEAR(miss(at(moments, 3.5), 261.6), 0.0, 0.05);
    for (const Moment& m : listen_through(plain()))
        EXPECT_FALSE(m.hearing.suspicions.fading);
}

TEST(ListenerSuspicions, LostFramesRestartThePhaseAndCorruptNothing) {
    const auto samples = plain().floats();
    PipeListener listener({.rate = SampleRate{48000.0}, .channels = 1});
    int seen = 0;
    for (std::size_t i = 0; i + 480 <= 2.5 * 48000; i += 480) {
        // Every 50th piece is missing, and once a quarter second.
        if (i / 480 % 50 == 49 || (i > 1.6 * 48000 && i < 1.85 * 48000)) continue;
        listener.process({static_cast<std::int64_t>(i)}, {&samples[i], 480});
        const Hearing& hearing = listener.hearing();
        if (!hearing.reading) continue;
        ++seen;
        EXPECT_LT(std::abs(miss(hearing, 261.6)),
                  std::max(0.02, 3.5 * hearing.reading->cents_sd().value()))
            << i;
    }
    EXPECT_GT(seen, 100);
    EXPECT_EQ(listener.hearing().tone, 1);
}

TEST(ListenerInvariance, TheSizeOfThePiecesChangesNothing) {
    const auto samples = plain().floats();
    const auto whole = listen_through(samples, 48000.0, {.chunk = 480});
    for (const std::size_t chunk : {1u, 7u, 64u, 441u, 512u, 1000u, 4096u}) {
        const auto pieces = listen_through(samples, 48000.0, {.chunk = chunk});
        for (const Moment& m : pieces) {
            const Hearing& same = at(whole, m.t);
            ASSERT_EQ(same.now, m.hearing.now);
            EXPECT_EQ(same.sounding, m.hearing.sounding);
            ASSERT_EQ(same.reading.has_value(), m.hearing.reading.has_value()) << chunk;
            if (same.reading) {
                EXPECT_EQ(same.reading->pitch, m.hearing.reading->pitch) << chunk;
            }
        }
    }
}

TEST(ListenerInvariance, GainChangesNothingButTheLevel) {
    auto samples = plain().floats();
    const auto loud = listen_through(samples, 48000.0);
    for (float& x : samples)
        x *= 0.001F;
    const auto soft = listen_through(samples, 48000.0);
    for (const double t : {0.62, 0.8, 1.5, 2.4}) {
        ASSERT_TRUE(at(loud, t).reading && at(soft, t).reading) << t;
        EXPECT_NEAR(interval(at(loud, t).reading->pitch, at(soft, t).reading->pitch).value(), 0.0,
                    1e-3);
        EXPECT_NEAR((at(loud, t).tone_level - at(soft, t).tone_level).value(), 60.0, 0.1);
    }
}

TEST(ListenerInvariance, EverySamplingRateGivesThePitch) {
    for (const double rate : {8000.0, 11025.0, 22050.0, 44100.0, 88200.0, 96000.0, 192000.0}) {
        const auto moments = listen_through(plain(440.0, rate), {.expected = Hertz{440.0}});
        EXPECT_NEAR(miss(at(moments, 2.4), 440.0), 0.0, 0.02) << rate;
        EXPECT_EQ(moments.back().hearing.tone, 1) << rate;
        EXPECT_EQ(moments.back().hearing.rate.value(), rate);
    }
}

TEST(ListenerInvariance, OfTwoMicrophonesADeafOneDoesNoHarm) {
    const auto heard = plain().floats();
    Scene noise(48000.0, 3.0, 15);
    noise.add_white(0.1, 30.0);
    const auto deaf = noise.floats();
    for (const bool first : {true, false}) {
        std::vector<float> both;
        for (std::size_t i = 0; i < heard.size(); ++i) {
            both.push_back(first ? heard[i] : deaf[i]);
            both.push_back(first ? deaf[i] : heard[i]);
        }
        const auto moments = listen_through(both, 48000.0, {.channels = 2});
        EXPECT_NEAR(miss(at(moments, 2.4), 261.6), 0.0, 0.02);
        EXPECT_EQ(moments.back().hearing.tone, 1);
    }
}

TEST(ListenerMemory, NothingIsAllocatedWhileListening) {
    if (!rankwright::testing::allocations_are_counted())
        GTEST_SKIP() << "a sanitizer's allocator is at work";
    for (const double rate : {48000.0, 96000.0}) {
        Scene scene(rate, 5.0, 17);
        scene.add_white(0.1, 30.0).add_hum(50.0, 0.003);
        scene.add(Tone{.hz = 98.0, .from_s = 0.7, .to_s = 2.2, .decay_s = 0.6});
        scene.add(Tone{.hz = 196.0, .from_s = 2.3, .to_s = 3.4, .decay_s = 0.6});
        scene.add_knock(1.5, 0.3).add_voice(3.8, 0.4, 0.05);
        const auto samples = scene.floats();
        PipeListener listener({.rate = SampleRate{rate}, .channels = 1});
        const std::size_t before = rankwright::testing::allocations();
        listener.expect(Hertz{98.0});
        for (std::size_t i = 0; i + 512 <= samples.size(); i += 512)
            listener.process({static_cast<std::int64_t>(i)}, {&samples[i], 512});
        EXPECT_EQ(rankwright::testing::allocations(), before);
        EXPECT_EQ(listener.hearing().tone, 2);
    }
}

TEST(ListenerFrames, PhasorsTurnWithTheDistanceFromTheAwaitedPitch) {
    Scene scene(48000.0, 2.5, 16);
    scene.add(Tone{.hz = 262.1, .from_s = 0.3});
    scene.add_white(0.1, 40.0);
    const auto samples = scene.floats();
    PipeListener listener({.rate = SampleRate{48000.0}, .channels = 1});
    listener.expect(Hertz{261.6});
    for (std::size_t i = 0; i < samples.size(); i += 480)
        listener.process({static_cast<std::int64_t>(i)},
                         {&samples[i], std::min<std::size_t>(480, samples.size() - i)});
    const auto frames = listener.partial_frames();
    ASSERT_GT(frames.size(), 40u);
    const PartialFrame& from = frames[frames.size() - 31];
    const PartialFrame& to = frames.back();
    EXPECT_GT(30.0 / duration(to.at - from.at, SampleRate{48000.0}).count(), 20.0);
    for (std::size_t k = 0; k < kRibbonPartials; ++k) {
        // The turning between neighbours, added up.
        double turns = 0.0;
        for (std::size_t i = frames.size() - 30; i < frames.size(); ++i)
            turns += static_cast<double>(
                         std::arg(frames[i].phasor[k] * std::conj(frames[i - 1].phasor[k]))) /
                     6.283185307;
        const double seconds = duration(to.at - from.at, SampleRate{48000.0}).count();
        EXPECT_NEAR(turns / seconds, 0.5 * static_cast<double>(k + 1), 0.03);
        // Partial k of the scene's timbre has 1/k of the first one's amplitude.
        EXPECT_NEAR(static_cast<double>(std::abs(to.phasor[k]) / std::abs(to.phasor[0])),
                    1.0 / static_cast<double>(k + 1), 0.05);
    }
}

}  // namespace listener_suspicions_test
}  // namespace rankwright::listening
