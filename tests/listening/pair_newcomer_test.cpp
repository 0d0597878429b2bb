// When the pipe sets in beside its reference is known by construction. The reference is an octave
// higher, so that the pipe has partials of its own.
#include "listening/pair/newcomer.h"
#include "support/scene.h"

#include <optional>
#include <span>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace pair_newcomer_test {

constexpr SampleRate kRate{24000.0};
constexpr double kStep_s = 0.01;
constexpr double kPipe_hz = 261.6;

class Ear {
  public:
    /// The reference sounds from the start, the pipe from `joins_s` on.
    explicit Ear(double joins_s) : sound_(kRate, 1), watch_(kRate, 0), follower_(kRate, kSpan) {
        test::Scene scene(kRate.value(), 4.0, 5);
        scene.add(test::Tone{.hz = 2.0 * kPipe_hz, .from_s = -1.0, .phase_seed = 1});
        scene.add(test::Tone{.hz = 1.0003 * kPipe_hz, .from_s = joins_s, .phase_seed = 2});
        scene.add_white(0.1, 40.0);
        samples_ = scene.floats();
        watch_.expect(Hertz{2.0 * kPipe_hz}, 1, 2, sound_);
    }

    /// Hears on until then; when the newcomer came first, if it did.
    std::optional<double> hear_until(double to_s) {
        std::optional<double> came;
        while (now_s() < to_s) {
            const auto frames = static_cast<std::size_t>(kStep_s * kRate.value());
            const auto first = static_cast<std::size_t>(sound_.end().value);
            sound_.push(sound_.end(), std::span(samples_).subspan(first, frames));
            watch_.advance(sound_);
            newcomer_.note(watch_, sound_.end());
            if (newcomer_.comes(watch_, follower_, sound_.end()) && !came) came = now_s();
        }
        return came;
    }
    void look(Seconds span) { newcomer_.looked(watch_, span, sound_.end()); }
    void hide() { newcomer_.hide(sound_.end()); }
    void forget() { newcomer_.forget(); }
    double since_s() const { return seconds(newcomer_.since()); }

  private:
    static constexpr Seconds kSpan{3.0};
    static double seconds(FrameIndex at) { return duration(at - FrameIndex{}, kRate).count(); }
    double now_s() const { return seconds(sound_.end()); }

    std::vector<float> samples_;
    SoundHistory sound_;
    PairWatch watch_;
    PairFollower follower_;  // holds nothing: only the pipe's own partials tell
    PairNewcomer newcomer_{kRate};
};

TEST(PairNewcomer, APipeThatJoinsAReferenceLookedThroughComes) {
    Ear ear(1.5);
    ear.hear_until(1.0);
    ear.look(Seconds{0.6});
    const auto came = ear.hear_until(2.5);
    ASSERT_TRUE(came);
    EXPECT_GT(*came, 1.5);
    EXPECT_LT(*came, 1.8);
    EXPECT_NEAR(ear.since_s(), 1.5, 0.15);
}

TEST(PairNewcomer, APipeThatSoundedAllThroughALookIsNone) {
    Ear ear(-1.0);
    ear.hear_until(1.0);
    ear.look(Seconds{0.6});
    EXPECT_FALSE(ear.hear_until(3.0));
}

// What was looked through from 0.9 to 1.5 s was nearly all the reference, though at its end the
// pipe sounds.
TEST(PairNewcomer, APipeThatSetInAtTheEndOfALookComesYet) {
    Ear ear(1.35);
    ear.hear_until(0.9);
    ear.look(Seconds{0.6});
    ear.hear_until(1.5);
    ear.look(Seconds{0.6});
    const auto came = ear.hear_until(2.5);
    ASSERT_TRUE(came);
    EXPECT_LT(*came, 1.7);
}

TEST(PairNewcomer, APipeThatSetInLongBeforeTheEndOfALookIsNone) {
    Ear ear(1.0);
    ear.hear_until(0.9);
    ear.look(Seconds{0.6});
    ear.hear_until(1.05);
    ear.hide();
    ear.hear_until(2.0);
    ear.look(Seconds{0.6});
    EXPECT_FALSE(ear.hear_until(3.5));
}

TEST(PairNewcomer, WhatIsHiddenSaysNothing) {
    Ear ear(1.5);
    ear.hear_until(1.0);
    ear.look(Seconds{0.6});
    ear.hear_until(1.6);
    ear.hide();
    const auto came = ear.hear_until(2.5);
    ASSERT_TRUE(came);
    EXPECT_GT(*came, 1.6 + 0.25);
}

// Nothing is known of a new key before it was looked through.
TEST(PairNewcomer, ANewKeyIsNoneBeforeItWasLookedThrough) {
    Ear ear(1.5);
    ear.hear_until(1.0);
    ear.look(Seconds{0.6});
    ear.forget();
    EXPECT_FALSE(ear.hear_until(2.5));
}

}  // namespace pair_newcomer_test
}  // namespace rankwright::listening
