// Tones are made here: which key was played is known by construction. How helpers play (up, down,
// by chest sides, with skips and repeats) and how far pipes stand off is common practice, no
// source.
#include "tuning/placing.h"

#include <cmath>
#include <random>

#include <gtest/gtest.h>

namespace rankwright::tuning {
namespace placing_test {

constexpr int kKeys = 61;

double equal(int key) { return 440.0 * std::exp2((key - 34) / 12.0); }

RankKeys whole_rank() {
    RankKeys rank;
    for (int key = 1; key <= kKeys; ++key)
        rank.keys.push_back({key, Hertz{equal(key)}});
    return rank;
}

/// A play through the rank, two seconds a key.
struct Play {
    std::mt19937_64 random;
    double offset = 0.0;   ///< of the whole rank, cents
    double scatter = 6.0;  ///< of single pipes, cents
    std::vector<ToneToPlace> tones{};
    std::vector<int> truth{};  ///< 0: no key

    void sound(double hz, int key, double seconds = 1.8) {
        const Seconds at{2.2 * static_cast<double>(tones.size())};
        tones.push_back({Hertz{hz}, Cents{0.1}, at, at + Seconds{seconds}});
        truth.push_back(key);
    }
    void press(int key, double off) { sound(equal(key) * std::exp2((offset + off) / 1200.0), key); }
    void press(int key) { press(key, std::normal_distribution<double>(0.0, scatter)(random)); }

    int wrong() const {
        const Placing placing = place(tones, whole_rank());
        int count = 0;
        for (std::size_t i = 0; i < tones.size(); ++i)
            count += placing.tones[i].key.value_or(0) != truth[i] ? 1 : 0;
        return count;
    }
};

std::vector<int> order(int way) {
    std::vector<int> keys;
    for (int key = 1; key <= kKeys; ++key)
        if (way != 2) keys.push_back(way == 0 ? key : kKeys + 1 - key);
    for (int side = 1; way == 2 && side <= 2; ++side)
        for (int key = side; key <= kKeys; key += 2)
            keys.push_back(key);
    return keys;
}

TEST(Placing, ARankPlayedUpDownOrBySidesIsPutInPlaceWhereverItStands) {
    std::mt19937_64 random(41);
    std::uniform_real_distribution<double> chance(0.0, 1.0);
    for (const int way : {0, 1, 2})
        for (const double offset : {-98.0, -62.0, -50.0, -20.0, 0.0, 37.0, 50.0, 71.0}) {
            Play play{std::mt19937_64(static_cast<std::uint64_t>(way + 1)), offset};
            for (const int key : order(way)) {
                // An end that is skipped leaves nothing to tell half a semitone by.
                const bool end = key <= 2 || key >= kKeys - 1;
                if (!end && chance(random) < 0.06) continue;  // skipped
                play.press(key);
                if (chance(random) < 0.05) play.press(key);  // repeated
            }
            EXPECT_EQ(play.wrong(), 0) << "way " << way << ", offset " << offset;
        }
}

TEST(Placing, SinglePipesHalfASemitoneOutKeepTheirKeys) {
    for (const double out : {-55.0, -50.0, 50.0, 55.0}) {
        Play play{std::mt19937_64(7), 12.0};
        for (const int key : order(0))
            key % 9 == 5 ? play.press(key, out) : play.press(key);
        EXPECT_EQ(play.wrong(), 0) << out;
    }
}

TEST(Placing, WhatIsNoPipeOfTheRankStaysOut) {
    Play play{std::mt19937_64(8), -15.0};
    for (const int key : order(0)) {
        play.press(key);
        if (key == 10) play.sound(equal(47) * std::exp2(0.3 / 12.0), 0, 0.5);
        if (key == 30) play.sound(50.0, 0, 0.7);
    }
    EXPECT_EQ(play.wrong(), 0);
}

TEST(Placing, AnotherFootageIsTakenForAWrongStopOnlyWhenTheRankSticksOut) {
    for (const double interval : {1200.0, -1200.0, 1901.955}) {
        Play play{std::mt19937_64(9), interval - 10.0};
        for (const int key : order(0))
            play.press(key);
        const Placing placing = place(play.tones, whole_rank());
        EXPECT_NEAR(placing.stop_interval.value(), interval, 0.1);
        EXPECT_NEAR(placing.offset.value(), -10.0, 3.0);
        EXPECT_EQ(play.wrong(), 0) << interval;
    }
    Play middle{std::mt19937_64(10), 0.0};
    for (int key = 20; key <= 40; ++key)
        middle.press(key);
    EXPECT_EQ(place(middle.tones, whole_rank()).stop_interval, Cents{0.0});
    EXPECT_EQ(middle.wrong(), 0);
}

/// Cents of a stop of so many feet above the 8' of the same keys.
double above_8_feet(double feet) { return 1200.0 * std::log2(8.0 / feet); }
constexpr double kUsualFeet[] = {16.0, 8.0, 4.0, 8.0 / 3.0, 2.0};

// Every usual stop drawn for every other. Some keys are heard as another natural tone of their
// pipes: the lowest of a rank whose octave is louder than its note, harmonic pipes that speak with
// the octave below theirs, stopped pipes as their twelfth (common practice, no source).
TEST(Placing, EveryUsualStopDrawnForAnotherIsNamed) {
    struct Misheard {
        int from, to, every;
        double as;
    };
    const Misheard kinds[] = {
        {0, 0, 1, 1.0}, {1, 5, 1, 2.0}, {1, 7, 1, 2.0}, {30, 61, 4, 0.5}, {1, 20, 5, 3.0}};
    int cases = 0, wrong_stop = 0, misplaced = 0;
    for (const double sounds : kUsualFeet)
        for (const double asked : kUsualFeet)
            for (const Misheard& kind : kinds) {
                const int way = ++cases % 3;
                const double stands = 20.0 * (way - 1);
                const double interval = above_8_feet(sounds) - above_8_feet(asked);
                Play play{std::mt19937_64(static_cast<std::uint64_t>(cases)), interval + stands};
                for (const int key : order(way)) {
                    play.press(key);
                    if (key >= kind.from && key <= kind.to && key % kind.every == 0)
                        play.tones.back().pitch = kind.as * play.tones.back().pitch;
                }
                const Placing placing = place(play.tones, whole_rank());
                const bool right = std::abs(placing.stop_interval.value() - interval) < 1.0;
                if (!right)
                    std::printf("%.1f for %.1f feet, way %d, misheard from %d as %.1f: %.0f\n",
                                sounds, asked, way, kind.from, kind.as,
                                placing.stop_interval.value());
                wrong_stop += right ? 0 : 1;
                misplaced += right ? play.wrong() : 0;
            }
    // Seven low octaves of a Twelfth drawn for a Fifteenth pass for the Fifteenth's own, once.
    EXPECT_LE(wrong_stop, 1) << "of " << cases;
    EXPECT_EQ(misplaced, 0);
}

TEST(Placing, APipeThatOverblowsStaysAtItsKey) {
    Play play{std::mt19937_64(11), 5.0};
    for (const int key : order(0)) {
        if (key == 17)
            play.sound(equal(17) * 3.0, 17);
        else if (key == 25)
            play.sound(equal(25) * 2.0, 25);
        else
            play.press(key);
    }
    const Placing placing = place(play.tones, whole_rank());
    EXPECT_EQ(play.wrong(), 0);
    EXPECT_EQ(placing.tones[16].slip, Slip::twelfth_up);
    EXPECT_EQ(placing.tones[24].slip, Slip::octave_up);
}

TEST(Placing, AFewKeysHalfASemitoneOffAreCalledDoubtful) {
    Play play{std::mt19937_64(12), 50.0};
    for (int key = 20; key <= 30; ++key)
        play.press(key);
    EXPECT_TRUE(place(play.tones, whole_rank()).or_keys_off.has_value());
    Play sure{std::mt19937_64(12), 5.0};
    for (int key = 20; key <= 30; ++key)
        sure.press(key);
    EXPECT_FALSE(place(sure.tones, whole_rank()).or_keys_off.has_value());
}

TEST(Placing, TwoKeysAreEnough) {
    Play play{std::mt19937_64(14)};
    play.press(3, -0.5);
    play.press(4, 20.0);
    EXPECT_EQ(place(play.tones, whole_rank()).stop_interval, Cents{0.0});
    EXPECT_EQ(play.wrong(), 0);
}

TEST(Placing, NothingHeardPlacesNothing) {
    EXPECT_TRUE(place({}, whole_rank()).tones.empty());
    Play play{std::mt19937_64(13)};
    play.press(30);
    EXPECT_EQ(play.wrong(), 0);
}

}  // namespace placing_test
}  // namespace rankwright::tuning
