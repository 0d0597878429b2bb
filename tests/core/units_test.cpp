#include "core/units.h"

#include "core/multiple.h"

#include <gtest/gtest.h>

namespace rankwright {
namespace units_test {

using namespace literals;

// A. J. Ellis, in Helmholtz, On the Sensations of Tone (1885): 1200 cents to the octave; a pure
// fifth of 3:2 is 701.955 cents.
TEST(Units, IntervalsInCents) {
    EXPECT_DOUBLE_EQ(interval(220_Hz, 440_Hz).value(), 1200.0);
    EXPECT_NEAR(interval(200_Hz, 300_Hz).value(), 701.955, 5e-4);
    EXPECT_LT(interval(440_Hz, 435_Hz), Cents{0.0});
}

TEST(Units, TransposingAndMeasuringAreInverse) {
    for (const double cents : {-1200.0, -13.686, 0.0, 0.01, 701.955})
        EXPECT_NEAR(interval(261.6256_Hz, transpose(261.6256_Hz, Cents{cents})).value(), cents,
                    1e-9);
}

// Ellis, as above: of equal temperament the twelfth is 1.955 cents under the third partial, and two
// octaves and a major third are 13.686 cents over the fifth.
TEST(Units, PartialsNearANote) {
    const Hertz note = 110_Hz;
    EXPECT_EQ(partial_near(note, transpose(note, Cents{1900.0}), Cents{2.0}), 3);
    EXPECT_EQ(partial_near(note, transpose(note, Cents{1900.0}), Cents{1.9}), std::nullopt);
    EXPECT_EQ(partial_near(note, transpose(note, Cents{2800.0}), Cents{14.0}), 5);
    EXPECT_EQ(partial_near(note, transpose(note, Cents{2800.0}), Cents{13.0}), std::nullopt);
    EXPECT_EQ(partial_near(note, transpose(note, Cents{-40.0}), Cents{60.0}), 1);
    EXPECT_EQ(partial_near(note, transpose(note, Cents{-1200.0}), Cents{60.0}), std::nullopt);
}

TEST(Units, FramesTakeTime) {
    EXPECT_DOUBLE_EQ(duration(FrameIndex{96000} - FrameIndex{48000}, SampleRate{48000.0}).count(),
                     1.0);
}

}  // namespace units_test
}  // namespace rankwright
