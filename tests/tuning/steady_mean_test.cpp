// The mean of a standing pipe's readings and how well it is known. Expected: the variance of a mean
// of readings with independent parts and a part in common (JCGM 100:2008, 5.2.2, from memory).
#include "tuning/steady_mean.h"

#include <cmath>

#include <gtest/gtest.h>

namespace rankwright::tuning {
namespace steady_mean_test {

constexpr Cents kSd{0.2};
constexpr Cents kShared{0.16};
constexpr Cents kOwn{0.12};  // what is left: 0.2² = 0.16² + 0.12²

SteadyMean heard(Cents shared) {
    SteadyMean mean;
    // Ten batches of one reading each, all alike.
    for (int i = 0; i < 10; ++i)
        mean.add(Seconds{0.401 * i}, Cents{1.0}, kSd, shared);
    return mean;
}

TEST(SteadyMean, OfIndependentReadingsIsKnownTheBetterTheMoreTheyAre) {
    EXPECT_NEAR(heard(Cents{0.0}).uncertainty()->value(), kSd.value() / std::sqrt(10.0), 1e-9);
}

TEST(SteadyMean, WhatReadingsShareNoMeanMakesSmaller) {
    EXPECT_NEAR(heard(kShared).uncertainty()->value(),
                std::hypot(kShared.value(), kOwn.value() / std::sqrt(10.0)), 1e-9);
    EXPECT_NEAR(heard(kSd).uncertainty()->value(), kSd.value(), 1e-9);
}

TEST(SteadyMean, WithoutAPartIsWhatIsLeft) {
    EXPECT_NEAR(without(kSd, kShared).value(), kOwn.value(), 1e-12);
    EXPECT_EQ(without(kShared, kSd).value(), 0.0);
}

}  // namespace steady_mean_test
}  // namespace rankwright::tuning
