// The live ear on a pipe that is brought through the pure interval, and on one that stands near it.
// Where the two are is known by construction (tests/support/scene.h).
#include "listening/pair/listener.h"
#include "support/scene.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <numbers>
#include <utility>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace pair_moved_test {

using test::Scene;
using test::Tone;

constexpr double kRate = 48000.0;

/// A unison: the reference sounds from 0.3 s on, the pipe from 2.3 s on, and is moved for three
/// seconds.
struct Moved {
    double hz, from_cents, cents_a_second;
    std::uint64_t seed;
    double seconds = 9.0;
    double wander_cents = 0.2;
    double moved_from_s = 5.0;
    std::function<double(double)> reference = test::wander(wander_cents, seed);
    std::function<double(double)> pipe = test::wander(wander_cents, seed + 77);

    double of_pipe(double t) const {
        return pipe(t) + from_cents + cents_a_second * std::clamp(t - moved_from_s, 0.0, 3.0);
    }
    /// Cents apart.
    double apart(double t) const { return of_pipe(t) - reference(t); }

    /// `look(t, hearing)` a hundred times a second.
    void hear(const std::function<void(double, const PairHearing&)>& look) const {
        Scene scene(kRate, seconds, seed);
        scene.add(Tone{.hz = hz, .from_s = 0.3, .cents = reference, .phase_seed = seed});
        scene.add(Tone{.hz = hz,
                       .from_s = 2.3,
                       .cents = [this](double t) { return of_pipe(t); },
                       .phase_seed = seed + 9});
        scene.add_white(0.1, 35.0);
        const auto samples = scene.floats();
        PairListener listener({.rate = SampleRate{kRate}, .channels = 1});
        const Hertz truth{hz};
        listener.expect(
            {transpose(truth, Cents{0.07}), transpose(truth, Cents{0.1}) - truth, 1, 1});
        constexpr std::size_t kBlock = 480;
        for (std::size_t i = 0; i + kBlock <= samples.size(); i += kBlock) {
            listener.process({static_cast<std::int64_t>(i)}, {&samples[i], kBlock});
            look(static_cast<double>(i + kBlock) / kRate, listener.hearing());
        }
    }
};

bool is_value(const PairHearing& hearing) { return hearing.reading && !hearing.reading->under; }

TEST(PairListener, APipeBroughtThroughThePureIntervalIsFollowed) {
    for (const std::uint64_t seed : {1u, 2u, 3u})
        for (const double hz : {523.0, 1047.0}) {
            const Moved moved{hz, -4.0, 3.0, seed};
            double stands = 0.0;
            moved.hear([&](double t, const PairHearing& hearing) {
                if (t < 3.5 || !is_value(hearing)) return;
                // Half a second late at most.
                const double now = moved.apart(t);
                const double then = moved.of_pipe(t - 0.5) - moved.reference(t);
                EXPECT_NEAR(hearing.reading->cents.value(), 0.5 * (now + then),
                            0.5 * (now - then) + 0.6)
                    << t << " s, " << hz << " Hz, seed " << seed;
                if (t < 8.8) stands = hearing.reading->cents.value();
            });
            EXPECT_NEAR(stands, 5.0, 0.6) << hz << " Hz, seed " << seed;
        }
}

// Where a cent is 0.06 to 0.11 beats a second, what tells where the pipe is now is how the two
// shared the sound before.
TEST(PairListener, ABassPipeIsFollowedWhereItHardlyBeats) {
    int while_moved = 0, values = 0, late = 0;
    for (const std::uint64_t seed : {1u, 2u, 3u})
        for (const double hz : {98.0, 131.0, 196.0})
            for (const auto& [from, pace] : {std::pair{-4.0, 3.0}, std::pair{7.0, -6.0}}) {
                const Moved moved{hz, from, pace, seed};
                double stands = 0.0;
                moved.hear([&](double t, const PairHearing& hearing) {
                    if (!is_value(hearing)) {
                        while_moved += t > 5.7 && t < 8.0 ? 1 : 0;
                        return;
                    }
                    if (t < 8.8) stands = hearing.reading->cents.value();
                    if (t < 5.7 || t > 8.0) return;
                    ++while_moved;
                    ++values;
                    const double now = moved.apart(t), then = moved.apart(t - 0.5);
                    const double read = hearing.reading->cents.value();
                    if (read < std::min(then, now) - 0.3 || read > std::max(then, now) + 0.3)
                        ++late;
                });
                EXPECT_NEAR(stands, moved.apart(8.4), 0.7)
                    << hz << " Hz, seed " << seed << ", " << pace << " cents a second";
            }
    EXPECT_GT(values, 0.9 * while_moved);
    EXPECT_LT(late, 0.1 * values);
}

// When it was heard alone is long past.
TEST(PairListener, APipeThatHasStoodForLongIsFollowed) {
    int while_moved = 0, values = 0, late = 0;
    for (const std::uint64_t seed : {1u, 2u})
        for (const double hz : {131.0, 523.0})
            for (const auto& [from, pace] : {std::pair{-4.0, 3.0}, std::pair{7.0, -6.0}}) {
                const Moved moved{.hz = hz,
                                  .from_cents = from,
                                  .cents_a_second = pace,
                                  .seed = seed,
                                  .seconds = 16.5,
                                  .moved_from_s = 13.5};
                moved.hear([&](double t, const PairHearing& hearing) {
                    if (t < 14.2) return;
                    ++while_moved;
                    if (!is_value(hearing)) return;
                    ++values;
                    const double now = moved.apart(t), then = moved.apart(t - 0.5);
                    const double read = hearing.reading->cents.value();
                    if (read < std::min(then, now) - 0.3 || read > std::max(then, now) + 0.3)
                        ++late;
                });
            }
    EXPECT_GT(values, 0.8 * while_moved);
    EXPECT_LT(late, 0.1 * values);
}

// No faster than a pipe wanders in a second or two, so that it isn't seen at once.
TEST(PairListener, WhatABassPipesSlowMovementLeavesIsInTheUncertainty) {
    int while_moved = 0, values = 0, within[2] = {};
    for (const std::uint64_t seed : {1u, 2u, 3u})
        for (const double hz : {98.0, 131.0})
            for (const double from : {-4.0, -1.5}) {
                const Moved moved{hz, from, 1.0, seed};
                moved.hear([&](double t, const PairHearing& hearing) {
                    if (t < 5.6 || t > 8.0) return;
                    ++while_moved;
                    if (!is_value(hearing)) return;
                    ++values;
                    const double off = hearing.reading->cents.value() - moved.apart(t);
                    const double cent = hz * std::numbers::ln2 / 1200.0;
                    const double sd = hearing.reading->beat_sd.value() / cent;
                    for (const int times : {1, 2})
                        if (std::abs(off) < times * sd) ++within[times - 1];
                });
            }
    EXPECT_GT(values, 0.85 * while_moved);
    EXPECT_GT(within[0], 0.5 * values);
    EXPECT_GT(within[1], 0.77 * values);
}

// The click of a pipe's speech isn't one of those that hide the two: what the reference was before
// it tells how they share the sound.
TEST(PairListener, ABassPipeACentOffIsAValueSoon) {
    for (const std::uint64_t seed : {1u, 2u, 3u, 4u, 5u})
        for (const double hz : {131.0, 196.0}) {
            const Moved still{.hz = hz,
                              .from_cents = 1.0,
                              .cents_a_second = 0.0,
                              .seed = seed,
                              .seconds = 4.8,
                              .wander_cents = 0.1};
            PairHearing last;
            still.hear([&](double, const PairHearing& hearing) { last = hearing; });
            ASSERT_TRUE(is_value(last)) << hz << " Hz, seed " << seed;
            EXPECT_NEAR(last.reading->cents.value(), 1.0, 0.4) << hz << " Hz, seed " << seed;
        }
}

}  // namespace pair_moved_test
}  // namespace rankwright::listening
