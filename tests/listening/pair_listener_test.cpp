// The live ear for a reference and a pipe, on whole scenes. Truth is what each scene was made with
// (tests/support/scene.h); no recorded or simulated pipe of the product is used.
#include "listening/pair/listener.h"
#include "support/allocation_count.h"
#include "support/scene.h"

#include <cmath>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace pair_listener_test {

using test::Scene;
using test::Tone;

constexpr double kRate = 48000.0;

struct Moment {
    double t = 0.0;
    PairHearing hearing;
};

struct Awaited {
    double reference_hz = 262.0;
    int reference_partial = 1;
    int pipe_partial = 1;
    double doubt_cents = 0.1;  ///< of the reference: heard alone a moment ago
    PairExpectation expectation() const {
        const Hertz truth{reference_hz};
        const Cents doubt{doubt_cents};
        return {transpose(truth, 0.7 * doubt), transpose(truth, doubt) - truth, reference_partial,
                pipe_partial};
    }
    double pipe_hz(double beat) const {
        return (reference_partial * reference_hz + beat) / pipe_partial;
    }
};

std::vector<Moment> listen(const Scene& scene, const Awaited& awaited, std::size_t chunk = 480) {
    const std::vector<float> samples = scene.floats();
    PairListener listener({.rate = SampleRate{kRate}, .channels = 1});
    listener.expect(awaited.expectation());
    std::vector<Moment> moments;
    FrameIndex last{0};
    for (std::size_t i = 0; i < samples.size(); i += chunk) {
        const std::size_t count = std::min(chunk, samples.size() - i);
        listener.process({static_cast<std::int64_t>(i)}, {&samples[i], count});
        if (listener.hearing().now == last) continue;
        last = listener.hearing().now;
        moments.push_back({static_cast<double>(last.value) / kRate, listener.hearing()});
    }
    return moments;
}

const PairHearing& at(const std::vector<Moment>& moments, double t) {
    const PairHearing* found = &moments.front().hearing;
    for (const Moment& moment : moments)
        if (moment.t <= t + 1e-9) found = &moment.hearing;
    return *found;
}

double beat(const PairHearing& hearing) {
    return hearing.reading ? hearing.reading->beat.value() : std::nan("");
}

/// Both from 0.3 s on.
Scene both(const Awaited& awaited, double beat_hz, double level_db, double seconds,
           std::uint64_t seed = 1) {
    Scene scene(kRate, seconds, seed);
    scene.add(Tone{.hz = awaited.reference_hz, .from_s = 0.3, .phase_seed = seed});
    scene.add(Tone{.hz = awaited.pipe_hz(beat_hz),
                   .level = 0.1 * std::pow(10.0, level_db / 20.0),
                   .from_s = 0.35,
                   .phase_seed = seed + 100});
    scene.add_white(0.1, 40.0);
    return scene;
}

TEST(PairListener, ReadsTheBeatWithItsSign) {
    struct Case {
        Awaited awaited;
        double beat, level_db;
    };
    const Case cases[] = {
        {{262.0, 1, 1}, 0.8, -3.0},  {{262.0, 1, 1}, -0.3, 6.0},  {{110.0, 1, 1}, 1.2, -10.0},
        {{523.25, 1, 2}, -0.9, 3.0}, {{262.0, 2, 1}, 0.6, -6.0},  {{1046.5, 1, 1}, 2.5, 0.0},
        {{174.6, 3, 2}, -1.1, 0.0},  {{262.0, 1, 1}, 6.0, -20.0}, {{392.0, 1, 1}, -4.0, 18.0},
    };
    std::uint64_t seed = 10;
    for (const Case& c : cases) {
        const auto moments = listen(both(c.awaited, c.beat, c.level_db, 3.6, ++seed), c.awaited);
        const PairHearing& last = moments.back().hearing;
        ASSERT_TRUE(last.reading) << c.awaited.reference_hz << " beat " << c.beat;
        EXPECT_FALSE(last.reading->under) << c.awaited.reference_hz << " beat " << c.beat;
        EXPECT_NEAR(beat(last), c.beat, 0.01) << c.awaited.reference_hz;
        EXPECT_EQ(last.sounding, Sounding::steady);
        EXPECT_FALSE(last.reference_alone);
        EXPECT_EQ(last.tone, 1) << c.awaited.reference_hz << " beat " << c.beat;
        EXPECT_NEAR(interval(Hertz{c.awaited.reference_hz}, last.reading->reference).value(), 0.0,
                    0.05);
    }
}

// Of two that stand 5 cents apart and neither of which is known, either may be the reference.
TEST(PairListener, WithoutAKnownReferenceAUnisonsSignIsOpen) {
    Awaited awaited;
    awaited.doubt_cents = 5.0;
    const auto moments = listen(both(awaited, 0.8, -3.0, 3.6, 31), awaited);
    ASSERT_TRUE(moments.back().hearing.reading);
    ASSERT_TRUE(moments.back().hearing.reading->under);
    EXPECT_NEAR(moments.back().hearing.reading->under->value(), 0.8, 0.1);
}

TEST(PairListener, ReadsTheReferenceAloneAndThenThePipeThatJoins) {
    Awaited awaited;
    awaited.doubt_cents = 5.0;
    for (const double level_db : {0.0, -14.0}) {
        Scene scene(kRate, 6.0, 3);
        scene.add(Tone{.hz = 262.0, .from_s = 0.4, .to_s = 5.0, .decay_s = 0.6});
        scene.add(Tone{.hz = 263.1,
                       .level = 0.1 * std::pow(10.0, level_db / 20.0),
                       .from_s = 2.0,
                       .to_s = 4.0,
                       .decay_s = 0.6,
                       .phase_seed = 9});
        scene.add_white(0.1, 40.0);
        const auto moments = listen(scene, awaited);
        for (const Moment& m : moments)
            EXPECT_FALSE(m.t < 2.0 && m.hearing.reading) << "only one sounds at " << m.t;
        EXPECT_TRUE(at(moments, 1.9).reference_alone);
        ASSERT_TRUE(at(moments, 1.9).reference);
        EXPECT_NEAR(interval(Hertz{262.0}, at(moments, 1.9).reference->pitch).value(), 0.0, 0.02);
        EXPECT_NEAR(beat(at(moments, 2.9)), 1.1, 0.05) << level_db;
        EXPECT_NEAR(beat(at(moments, 3.9)), 1.1, 0.01) << level_db;
        EXPECT_NEAR(interval(Hertz{262.0}, at(moments, 3.9).reference->pitch).value(), 0.0, 0.02)
            << "the reference's own pitch is kept";
        EXPECT_TRUE(at(moments, 4.95).reference_alone) << level_db;
        EXPECT_GT(at(moments, 4.95).tone, at(moments, 3.9).tone);
        EXPECT_EQ(moments.back().hearing.sounding, Sounding::silence);
        for (const Moment& m : moments)
            EXPECT_FALSE(m.t > 4.5 && m.hearing.reading && !m.hearing.reading->under)
                << "no beat is left at " << m.t;
    }
}

// Two that hardly beat and wander by as much as they differ: neither the beat nor the reference's
// pitch of a moment ago tells them apart. What each partial of the reference was alone does.
TEST(PairListener, TwoThatHardlyBeatAreToldApartByWhatTheReferenceWasAlone) {
    const double joins_s = 2.0, end_s = 5.0;
    double squares = 0.0;
    int heard = 0;
    for (std::uint64_t seed = 1; seed <= 12; ++seed) {
        const double off_cents = seed % 2 == 0 ? 0.4 : -0.4;
        const auto wander = [](double slowness, double turn) {
            return [=](double t) {
                return 0.25 * std::sin(2.0 * std::numbers::pi * (t / slowness + turn));
            };
        };
        const double turn = 0.37 * static_cast<double>(seed);
        const auto first = wander(3.1, turn), second = wander(4.3, 1.7 * turn);
        const Awaited awaited;
        Scene scene(kRate, end_s, seed);
        scene.add(
            Tone{.hz = awaited.reference_hz, .from_s = 0.3, .cents = first, .phase_seed = seed});
        scene.add(Tone{.hz = awaited.reference_hz,
                       .from_s = joins_s,
                       .cents = [&](double t) { return off_cents + second(t); },
                       .phase_seed = 90 + seed});
        scene.add_white(0.1, 40.0);
        const auto moments = listen(scene, awaited);
        const PairHearing& hearing = at(moments, end_s - 0.05);
        if (!hearing.reading) continue;
        ++heard;
        // The least-squares slope of a phase weighs its pitch by 6u(1 - u) along the span
        // (calculus).
        double truth = 0.0;
        const int points = 400;
        for (int i = 0; i < points; ++i) {
            const double u = (i + 0.5) / points;
            const double t = end_s - 0.05 - hearing.heard.count() * u;
            truth += 6.0 * u * (1.0 - u) * (off_cents + second(t) - first(t)) / points;
        }
        const double error = hearing.reading->cents.value() - truth;
        squares += error * error;
        EXPECT_LT(std::abs(error), 0.5) << seed;
        EXPECT_GT(truth * hearing.reading->cents.value(), 0.0) << seed;
    }
    EXPECT_EQ(heard, 12);
    EXPECT_LT(std::sqrt(squares / heard), 0.2);
}

// The pipe's key may go down before its reference's, which was heard a while ago.
TEST(PairListener, ThePipeAloneIsNotTakenForAReferenceThatIsKnown) {
    for (const double beat_hz : {4.1, -3.2, 0.9, -0.7}) {
        Awaited awaited;
        awaited.doubt_cents = 0.3;
        Scene scene(kRate, 4.0, 5);
        // Far off its reference it is known however long it stands alone, near it only for a
        // moment.
        const double from_s = std::abs(beat_hz) > 2.0 ? 0.4 : 1.1;
        scene.add(Tone{.hz = awaited.pipe_hz(beat_hz), .from_s = from_s});
        scene.add(Tone{.hz = awaited.reference_hz, .from_s = 1.8, .phase_seed = 9});
        scene.add_white(0.1, 40.0);
        const auto moments = listen(scene, awaited);
        EXPECT_FALSE(at(moments, 1.7).reference);
        EXPECT_FALSE(at(moments, 1.7).reading);
        for (const double t : {2.8, 3.9})
            EXPECT_NEAR(beat(at(moments, t)), beat_hz, 0.1) << t;
    }
}

// What passed for the pipe was a room: a faint second tone beside the reference. The pipe itself
// comes later, out of the bands in which the two were followed: an octave below, with partials of
// its own, and an octave above, with none.
TEST(PairListener, ThePipeThatComesLaterTakesThePlaceOfWhatPassedForIt) {
    for (const Awaited& awaited : {Awaited{3136.0, 1, 2}, Awaited{1568.0, 2, 1}}) {
        const double away = 40.0;  // Hz at the meeting: 22 cents
        Scene scene(kRate, 5.5, 6);
        scene.add(Tone{.hz = awaited.reference_hz, .from_s = 0.3});
        scene.add(
            Tone{.hz = awaited.reference_hz + 2.0, .level = 0.02, .from_s = 0.3, .phase_seed = 8});
        scene.add(Tone{.hz = awaited.pipe_hz(away), .from_s = 3.5, .phase_seed = 9});
        scene.add_white(0.1, 40.0);
        const auto moments = listen(scene, awaited);
        if (awaited.pipe_partial == 1)
            ASSERT_TRUE(at(moments, 3.4).reading) << "the scene is one that deceives";
        else
            EXPECT_TRUE(at(moments, 3.4).reference_alone) << "it has nothing of the pipe's own";
        for (const double t : {4.3, 4.6, 5.4}) {
            EXPECT_NEAR(beat(at(moments, t)), away, 0.2) << awaited.reference_hz << " at " << t;
            EXPECT_EQ(at(moments, t).sounding, Sounding::steady);
        }
    }
}

TEST(PairListener, FollowsAMovedPipeWithinHalfASecond) {
    const Awaited awaited;
    for (const double cents : {-4.0, 2.0, 12.0}) {
        Scene scene(kRate, 5.0, 4);
        scene.add(Tone{.hz = 262.0, .from_s = 0.3});
        scene.add(Tone{.hz = 262.9,
                       .from_s = 0.35,
                       .cents = [&](double t) { return t < 3.0 ? 0.0 : cents; },
                       .phase_seed = 8});
        scene.add_white(0.1, 40.0);
        const double after = 262.9 * std::exp2(cents / 1200.0) - 262.0;
        const auto moments = listen(scene, awaited);
        EXPECT_NEAR(beat(at(moments, 2.9)), 0.9, 0.01);
        EXPECT_NEAR(beat(at(moments, 3.5)), after, 0.1) << cents;
        EXPECT_EQ(at(moments, 3.45).sounding, Sounding::moving) << cents;
        EXPECT_EQ(at(moments, 4.9).sounding, Sounding::steady) << cents;
        EXPECT_NEAR(beat(at(moments, 4.9)), after, 0.01) << cents;
        EXPECT_EQ(at(moments, 4.9).tone, 1) << "it is still the same pipe";
    }
}

TEST(PairListener, TheLastKeysPipeThatDiesAwayIsNotThePipeThatIsAwaited) {
    // Of an 8′ rank from a 4′ one, down a chest side: a whole tone lower than the last key.
    const Awaited awaited{.reference_hz = 2217.5, .pipe_partial = 2};
    for (const double decay_s : {1.5, 2.5}) {
        Scene scene(kRate, 2.4, 6);
        scene.add(Tone{.hz = 1108.73 * std::exp2(2.0 / 12.0), .to_s = 0.3, .decay_s = decay_s});
        scene.add(Tone{.hz = 2217.5, .from_s = 0.35, .phase_seed = 3});
        scene.add_white(0.1, 50.0);
        for (const auto& [t, hearing] : listen(scene, awaited)) {
            if (t < 1.2 || hearing.sounding != Sounding::steady) continue;
            EXPECT_FALSE(hearing.reading) << t << " s, " << decay_s << " s of reverberation";
        }
    }
}

TEST(PairListener, TightensAtRest) {
    const Awaited awaited;
    const auto moments = listen(both(awaited, 0.35, -3.0, 4.0), awaited);
    const PairHearing& early = at(moments, 1.0);
    const PairHearing& late = at(moments, 3.9);
    ASSERT_TRUE(early.reading);
    ASSERT_TRUE(late.reading);
    EXPECT_LT(late.reading->beat_sd.value(), 0.3 * early.reading->beat_sd.value());
    EXPECT_GT(late.heard, 3.0 * early.heard);
}

TEST(PairListener, AKnockOrAVoicePausesTheReadingAndItGoesOn) {
    const Awaited awaited;
    for (const bool voice : {false, true}) {
        Scene scene = both(awaited, 0.6, -2.0, 5.0, 21);
        if (voice)
            scene.add_voice(2.5, 0.5, 0.08);
        else
            scene.add_knock(2.5, 0.4);
        const auto moments = listen(scene, awaited);
        bool paused = false;
        for (const Moment& m : moments) {
            paused = paused || (m.t > 2.5 && m.t < 3.3 &&
                                m.hearing.sounding == Sounding::disturbed && !m.hearing.reading);
            EXPECT_FALSE(m.t > 1.5 && std::abs(beat(m.hearing) - 0.6) > 0.05)
                << beat(m.hearing) << " at " << m.t << (voice ? ", a voice" : ", a knock");
        }
        EXPECT_TRUE(paused) << voice;
        EXPECT_GT(at(moments, 3.6).heard, Seconds{2.0}) << "it doesn't start over " << voice;
        EXPECT_EQ(moments.back().hearing.tone, 1);
        EXPECT_NEAR(beat(moments.back().hearing), 0.6, 0.01);
    }
}

// A handled pipe is sharp and falls as it cools: common practice, no source for the rate.
TEST(PairListener, ReportsHowTheBeatDrifts) {
    const Awaited awaited;
    Scene scene(kRate, 5.0, 5);
    scene.add(Tone{.hz = 262.0, .from_s = 0.3});
    scene.add(Tone{
        .hz = 263.0, .from_s = 0.35, .cents = [](double t) { return -0.4 * t; }, .phase_seed = 8});
    scene.add_white(0.1, 40.0);
    const auto moments = listen(scene, awaited);
    const double slope = -0.4 * 263.0 * std::log(2.0) / 1200.0;
    int said = 0;
    double sum = 0.0;
    for (const Moment& m : moments)
        if (m.t > 2.0 && m.hearing.drift_hz_a_second) {
            ++said;
            sum += *m.hearing.drift_hz_a_second;
            EXPECT_LT(*m.hearing.drift_hz_a_second, 0.3 * slope) << m.t;
        }
    EXPECT_GT(said, 50);
    EXPECT_NEAR(sum / said, slope, 0.2 * std::abs(slope));
    for (const double t : {2.5, 3.5, 4.5}) {
        const double now = 263.0 * std::exp2(-0.4 * t / 1200.0) - 262.0;
        EXPECT_NEAR(beat(at(moments, t)), now, 0.5 * std::abs(slope) + 0.03)
            << "half a second late";
    }
}

TEST(PairListener, OneToneAloneIsNeverABeat) {
    for (const double hz : {65.4, 262.0, 1046.5}) {
        const Awaited awaited{hz};
        Scene scene(kRate, 4.5, 6);
        scene.add(Tone{.hz = hz, .from_s = 0.3, .cents = test::wander(0.15, 3)});
        scene.add_white(0.1, 40.0);
        for (const Moment& m : listen(scene, awaited))
            EXPECT_FALSE(m.hearing.reading && !m.hearing.reading->under) << hz << " at " << m.t;
    }
}

TEST(PairListener, HearsNothingWhereNoPipeSounds) {
    const Awaited awaited;
    Scene scene(kRate, 5.0, 7);
    scene.add_white(0.1, 30.0).add_rumble(0.01).add_hum(50.0, 0.003);
    scene.add_voice(1.0, 0.8, 0.05).add_knock(2.5, 0.3).add_voice(3.2, 0.8, 0.05, 190.0);
    for (const Moment& m : listen(scene, awaited)) {
        EXPECT_FALSE(m.hearing.reading) << m.t;
        EXPECT_FALSE(m.hearing.reference) << m.t;
    }
}

TEST(PairListener, TheSizeOfThePiecesChangesNothing) {
    const Awaited awaited;
    const Scene scene = both(awaited, 0.7, -5.0, 2.5);
    const auto a = listen(scene, awaited, 480);
    const auto b = listen(scene, awaited, 1237);
    for (const double t : {1.0, 1.6, 2.4})
        EXPECT_EQ(beat(at(a, t + 0.03)), beat(at(b, t + 0.03))) << t;
}

// A bass pipe may stand most of a semitone off after its stopper has slipped (common practice, no
// source): far, but its own key's.
TEST(PairListener, ABassPipeFarOffIsRead) {
    const Awaited awaited{.reference_hz = 110.0};
    for (const double cents : {-80.0, 70.0}) {
        const double far = 110.0 * (std::exp2(cents / 1200.0) - 1.0);
        const auto moments = listen(both(awaited, far, 0.0, 3.0), awaited);
        EXPECT_NEAR(beat(moments.back().hearing), far, 0.05) << cents;
    }
}

// The microphone may be plugged into either socket of the laptop's sound card.
TEST(PairListener, ListensToTheChannelThatHears) {
    const Awaited awaited;
    const std::vector<float> pair = both(awaited, 0.7, -5.0, 4.0).floats();
    Scene empty(kRate, 4.0, 5);
    empty.add_white(0.01, 0.0);
    const std::vector<float> hiss = empty.floats();
    const std::vector<float> dead(pair.size(), 0.0F);
    std::vector<float> far = pair;
    for (std::size_t i = 0; i < far.size(); ++i)
        far[i] = 0.03F * far[i] + hiss[i];
    const auto heard = [&](const std::vector<float>& left, const std::vector<float>& right) {
        std::vector<float> samples;
        for (std::size_t i = 0; i < left.size(); ++i)
            samples.insert(samples.end(), {left[i], right[i]});
        PairListener listener({.rate = SampleRate{kRate}, .channels = 2});
        listener.expect(awaited.expectation());
        for (std::size_t i = 0; i + 480 <= left.size(); i += 480)
            listener.process({static_cast<std::int64_t>(i)}, {&samples[2 * i], 960});
        return beat(listener.hearing());
    };
    for (const auto& other : {hiss, dead, far}) {
        EXPECT_NEAR(heard(pair, other), 0.7, 0.01);
        EXPECT_NEAR(heard(other, pair), 0.7, 0.01);
    }
}

TEST(PairListener, LostFramesAreNoBeat) {
    const Awaited awaited;
    const std::vector<float> samples = both(awaited, 0.7, -5.0, 5.0).floats();
    PairListener listener({.rate = SampleRate{kRate}, .channels = 1});
    listener.expect(awaited.expectation());
    for (std::size_t i = 0; i + 480 <= samples.size(); i += 480) {
        if (i > 120000 && i < 125000) continue;
        listener.process({static_cast<std::int64_t>(i)}, {&samples[i], 480});
        EXPECT_FALSE(i > 60000 && std::abs(beat(listener.hearing()) - 0.7) > 0.05)
            << beat(listener.hearing()) << " at " << static_cast<double>(i) / kRate;
    }
    EXPECT_NEAR(beat(listener.hearing()), 0.7, 0.01);
}

TEST(PairListener, SteadyWorkAllocatesNothing) {
    if (!testing::allocations_are_counted()) GTEST_SKIP() << "a sanitizer's allocator";
    const Awaited awaited;
    const std::vector<float> samples = both(awaited, 0.7, -5.0, 6.5).floats();
    PairListener listener({.rate = SampleRate{kRate}, .channels = 1});
    listener.expect(awaited.expectation());
    std::size_t before = 0;
    for (std::size_t i = 0; i + 480 <= samples.size(); i += 480) {
        if (i == 216000) before = testing::allocations();
        listener.process({static_cast<std::int64_t>(i)}, {&samples[i], 480});
    }
    EXPECT_EQ(testing::allocations(), before);
    EXPECT_NEAR(beat(listener.hearing()), 0.7, 0.01);
}

TEST(PairListener, FramesOfTheFirstMeetingBeatAsThePairDoes) {
    const Awaited awaited;
    PairListener listener({.rate = SampleRate{kRate}, .channels = 1});
    listener.expect(awaited.expectation());
    const std::vector<float> samples = both(awaited, 2.0, 0.0, 3.0).floats();
    for (std::size_t i = 0; i + 480 <= samples.size(); i += 480)
        listener.process({static_cast<std::int64_t>(i)}, {&samples[i], 480});
    const auto frames = listener.meeting_frames();
    ASSERT_GT(frames.size(), 40U);
    // |1 + e^{iωt}| falls to nought once a beat: count the minima of the first meeting.
    int minima = 0;
    for (std::size_t i = 3; i + 3 < frames.size(); ++i) {
        const float now = std::abs(frames[i].phasor[0]);
        bool least = true;
        for (std::size_t j = i - 3; j <= i + 3; ++j)
            least = least && std::abs(frames[j].phasor[0]) >= now;
        minima += least ? 1 : 0;
    }
    const double seconds =
        static_cast<double>(frames.back().at.value - frames.front().at.value) / kRate;
    EXPECT_NEAR(minima, 2.0 * seconds, 1.1);
}

}  // namespace pair_listener_test
}  // namespace rankwright::listening
