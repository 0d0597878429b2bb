// What all soundings of a reference together say of it.
#include "tuning/reference_pitch.h"

#include <gtest/gtest.h>

namespace rankwright::tuning {
namespace reference_pitch_test {

constexpr Hertz kHere{523.25};

ReferencePitch heard(std::initializer_list<double> cents, int from) {
    ReferencePitch pitch;
    for (const double off : cents)
        pitch.hear(from++, transpose(kHere, Cents{off}), Cents{0.1});
    return pitch;
}

// The standard error of the weighted mean (any textbook): those that agree make it better known.
TEST(ReferencePitch, SoundingsThatAgreeMakeItBetterKnown) {
    const ReferencePitch one = heard({0.1}, 1), four = heard({0.1, -0.1, 0.2, -0.1}, 1);
    EXPECT_LT(*four.uncertainty(), *one.uncertainty() * 0.6);
    EXPECT_NEAR(interval(kHere, *four.pitch()).value(), 0.025, 1e-3);
}

// Birge's ratio: where they contradict each other the mean is known no better than they scatter.
TEST(ReferencePitch, SoundingsThatContradictEachOtherMakeItDoubtful) {
    const ReferencePitch pitch = heard({0.1, -0.1, -5.7}, 1);
    EXPECT_GT(*pitch.uncertainty(), Cents{1.5});
}

// One bad way of hearing it, repeated, doesn't become the truth.
TEST(ReferencePitch, ManySoundingsOfOneTimeDoNotCrowdOutTheEarlierOnes) {
    ReferencePitch now = heard({-5.7, -5.6, -5.8, -5.7, -5.7, -5.6, -5.8, -5.7}, 10);
    now.after(heard({0.1, -0.1, 0.0}, 1));
    EXPECT_GT(*now.uncertainty(), Cents{0.8});
}

}  // namespace reference_pitch_test
}  // namespace rankwright::tuning
