// The small sums of listening against the C++ standard library's.
#include "listening/arithmetic.h"

#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace arithmetic_test {

TEST(OnCircle, IsTheLibrarysCosineAndSine) {
    for (int i = -4000; i <= 4000; ++i) {
        const double turns = i / 1600.0 + 1e-4 * std::sin(i);
        const CosSin at = on_circle(turns);
        const double angle = 2.0 * std::numbers::pi * turns;
        EXPECT_NEAR(at.cos, std::cos(angle), 1e-12) << turns;
        EXPECT_NEAR(at.sin, std::sin(angle), 1e-12) << turns;
    }
}

TEST(OnCircle, HoldsAtTheCornersOfATurn) {
    for (const double turns : {0.0, 0.25, 0.5, 0.75, 1.0, -0.25, -0.5, 1e6 + 0.25}) {
        const CosSin at = on_circle(turns);
        EXPECT_NEAR(std::hypot(at.cos, at.sin), 1.0, 1e-12) << turns;
        EXPECT_NEAR(at.cos * at.sin, 0.0, 1e-12) << turns;
    }
}

}  // namespace arithmetic_test
}  // namespace rankwright::listening
