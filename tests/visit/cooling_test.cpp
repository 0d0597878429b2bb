// What pipes of a size fell by tells what the next will fall by: common practice, no source.
#include "visit/cooling.h"

#include <gtest/gtest.h>

namespace rankwright::visit {
namespace cooling_test {

const PipeId kOne{"great", "octave-4", 1, 49}, kNext{"great", "octave-4", 1, 51},
    kOtherRank{"swell", "gemshorn-4", 1, 50}, kBass{"great", "octave-4", 1, 5};

TEST(Cooling, KnowsNothingBeforeAnyPipeWasFoundAgain) {
    const Cooling cooling;
    EXPECT_EQ(cooling.after(kOne, Hertz{2093.0}, Seconds{10.0}).by, Cents{0.0});
}

TEST(Cooling, APipesOwnFallCountsFirstThenThatOfItsSizeInItsRankThenInOthers) {
    Cooling cooling;
    cooling.fell(kOtherRank, Hertz{2217.0}, Seconds{10.0}, Cents{4.0});
    EXPECT_NEAR(cooling.after(kNext, Hertz{2349.0}, Seconds{5.0}).by.value(), 2.0, 1e-9);
    cooling.fell(kOne, Hertz{2093.0}, Seconds{10.0}, Cents{2.0});
    EXPECT_NEAR(cooling.after(kNext, Hertz{2349.0}, Seconds{5.0}).by.value(), 1.0, 1e-9);
    cooling.fell(kNext, Hertz{2349.0}, Seconds{4.0}, Cents{-0.2});
    EXPECT_NEAR(cooling.after(kNext, Hertz{2349.0}, Seconds{5.0}).by.value(), 0.0, 1e-9)
        << "what rose a little didn't fall";
    EXPECT_EQ(cooling.after(kBass, Hertz{165.0}, Seconds{5.0}).by, Cents{0.0}) << "of no like size";
    EXPECT_GT(cooling.after(kOne, Hertz{2093.0}, Seconds{5.0}).doubt, Cents{0.0});
}

// It was moved in between, or the air changed.
TEST(Cooling, WhatFellTooFarDidNotOnlyCool) {
    Cooling cooling;
    cooling.fell(kOne, Hertz{2093.0}, Seconds{2.0}, Cents{30.0});
    EXPECT_EQ(cooling.after(kOne, Hertz{2093.0}, Seconds{5.0}).by, Cents{0.0});
}

}  // namespace cooling_test
}  // namespace rankwright::visit
