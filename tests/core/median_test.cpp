// Against the definitions: ranks counted by hand.
#include "core/median.h"

#include <vector>

#include <gtest/gtest.h>

namespace rankwright {
namespace {

TEST(Median, IsTheMiddleOneOrHalfwayBetweenTheTwoInTheMiddle) {
    EXPECT_DOUBLE_EQ(median({3.0}), 3.0);
    EXPECT_DOUBLE_EQ(median({9.0, 1.0, 4.0}), 4.0);
    EXPECT_DOUBLE_EQ(median({9.0, 1.0, 4.0, 5.0}), 4.5);
}

TEST(Median, OthersAreFoundByTheirRank) {
    const std::vector<double> values{50.0, 10.0, 30.0, 20.0, 40.0};
    EXPECT_DOUBLE_EQ(value_above(0.0, values), 10.0);
    EXPECT_DOUBLE_EQ(value_above(0.5, values), 30.0);
    EXPECT_DOUBLE_EQ(value_above(0.74, values), 30.0);
    EXPECT_DOUBLE_EQ(value_above(0.75, values), 40.0);
    EXPECT_DOUBLE_EQ(value_above(0.99, values), 40.0);
    EXPECT_DOUBLE_EQ(value_above(1.0, values), 50.0);
    EXPECT_DOUBLE_EQ(value_above(0.9, {7.0}), 7.0);
}

}  // namespace
}  // namespace rankwright
