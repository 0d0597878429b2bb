// How much each partial counts in a pipe's mean pitch. The formula is checked against the mixed
// model's own equations (Henderson; Robinson, Statistical Science 6(1), 1991) solved otherwise, and
// against draws from the standard library's normal distribution.
#include "listening/pair/partial_shares.h"

#include <array>
#include <cmath>
#include <cstddef>
#include <numeric>
#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace partial_shares_test {

constexpr double kSpan_s = 2.4;

PartialShares shared(std::vector<PartialSlope> slopes) {
    double total = 0.0;
    for (const PartialSlope& s : slopes)
        total += s.weight;
    for (PartialSlope& s : slopes)
        s.weight /= total;
    PartialShares result;
    share_out(slopes, kSpan_s, result);
    return result;
}

double sum(const std::vector<double>& values) {
    return std::accumulate(values.begin(), values.end(), 0.0);
}

TEST(PartialShares, APartialThatIsToldWellKeepsItsWeight) {
    const auto result =
        shared({{1, 0.01, 1e-12, 3.0}, {2, -0.02, 1e-12, 2.0}, {3, 0.0, 1e-12, 5.0}});
    EXPECT_NEAR(sum(result.shares), 1.0, 1e-12);
    EXPECT_NEAR(result.shares[0], 0.3, 1e-6);
    EXPECT_NEAR(result.shares[1], 0.2, 1e-6);
    EXPECT_NEAR(result.mean_hz, 0.3 * 0.01 - 0.2 * 0.02, 1e-7);
    EXPECT_LT(result.lent, 1e-12);
}

TEST(PartialShares, WhatOneCantTellTheOthersDo) {
    const auto result = shared({{1, 0.4, 0.04, 6.0},
                                {2, 0.001, 1e-8, 1.0},
                                {3, -0.001, 1e-8, 1.0},
                                {4, 0.0, 1e-8, 1.0},
                                {5, 0.001, 1e-8, 1.0}});
    EXPECT_NEAR(sum(result.shares), 1.0, 1e-12);
    EXPECT_NEAR(result.mean_hz, 0.0, 0.005);  // by the weights alone 0.24
    EXPECT_GT(result.lent, 0.0);
}

TEST(PartialShares, WhereAllAreToldBadlyTheyAreWeighedByHowBadly) {
    // Far beyond how partials stray: the mean of least variance.
    const auto result = shared({{1, 0.0, 1.0, 1.0}, {2, 0.0, 4.0, 1.0}});
    EXPECT_NEAR(result.shares[0], 0.8, 0.01);
    EXPECT_NEAR(result.shares[1], 0.2, 0.01);
}

TEST(PartialShares, OneAloneIsTheMean) {
    const auto result = shared({{1, 0.02, 0.01, 1.0}});
    EXPECT_NEAR(result.shares[0], 1.0, 1e-12);
    EXPECT_NEAR(result.mean_hz, 0.02, 1e-12);
    EXPECT_EQ(result.scatter, 0.0);
}

// Slopes that stray by 0.02 turns over the span and are told with errors of their own, some badly:
// the mean asked for is that of the true slopes by their weights. What the shares give has to be
// nearer to it than the weights, and as near as it says.
TEST(PartialShares, AreNearerToTheMeanThanTheWeightsAndKnowHowNear) {
    std::mt19937_64 random(77);
    std::normal_distribution<double> normal;
    constexpr std::array<double, 6> kWeights{0.3, 0.3, 0.15, 0.1, 0.1, 0.05};
    constexpr std::array<double, 6> kErrors{0.02, 0.002, 0.01, 0.001, 0.004, 0.0005};
    double plain = 0.0, best = 0.0;
    int within = 0, twice = 0;
    constexpr int kDraws = 4000;
    for (int draw = 0; draw < kDraws; ++draw) {
        std::vector<PartialSlope> slopes;
        double asked = 0.0, weighed = 0.0;
        for (std::size_t i = 0; i < kWeights.size(); ++i) {
            const int number = static_cast<int>(i) + 1;
            const double truth = 0.02 / kSpan_s / std::sqrt(number) * normal(random);
            const double told = truth + kErrors[i] * normal(random);
            slopes.push_back({number, told, kErrors[i] * kErrors[i], kWeights[i]});
            asked += kWeights[i] * truth;
            weighed += kWeights[i] * told;
        }
        const auto result = shared(slopes);
        double variance = result.lent;
        for (std::size_t i = 0; i < slopes.size(); ++i)
            variance += result.shares[i] * result.shares[i] * slopes[i].variance;
        const double error = std::abs(result.mean_hz - asked);
        best += error * error;
        plain += (weighed - asked) * (weighed - asked);
        within += error < std::sqrt(variance) ? 1 : 0;
        twice += error < 2.0 * std::sqrt(variance) ? 1 : 0;
    }
    EXPECT_LT(std::sqrt(best / plain), 0.6);
    EXPECT_NEAR(within, 0.683 * kDraws, 0.04 * kDraws);  // of a normal distribution
    EXPECT_NEAR(twice, 0.954 * kDraws, 0.02 * kDraws);
}

// With partials straying as much as is usual, the shares solve Henderson's equations: for slopes
// y = 1·μ + u + e they give the weights' mean of μ + u.
TEST(PartialShares, SolveTheMixedModelsEquations) {
    const std::vector<PartialSlope> slopes{
        {1, 0.012, 4e-4, 0.5}, {2, -0.004, 1e-6, 0.3}, {4, 0.001, 9e-6, 0.2}};
    const auto result = shared(slopes);
    // The straying that was learned, from what is undefined: Σ w²·σ²/k.
    double per_stray = 0.0;
    for (const PartialSlope& s : slopes)
        per_stray += s.weight * s.weight / s.number;
    const double stray = result.undefined / per_stray;
    // Unknowns μ, u: [1ᵀR⁻¹1, 1ᵀR⁻¹; R⁻¹1, R⁻¹ + G⁻¹]·(μ, u) = (1ᵀR⁻¹y, R⁻¹y), by relaxation.
    double mean = 0.0;
    std::vector<double> u(slopes.size(), 0.0);
    for (int round = 0; round < 200000; ++round) {
        double weights = 0.0, rest = 0.0;
        for (std::size_t i = 0; i < slopes.size(); ++i) {
            weights += 1.0 / slopes[i].variance;
            rest += (slopes[i].hz - u[i]) / slopes[i].variance;
        }
        mean = rest / weights;
        for (std::size_t i = 0; i < slopes.size(); ++i)
            u[i] = (slopes[i].hz - mean) / slopes[i].variance /
                   (1.0 / slopes[i].variance + slopes[i].number / stray);
    }
    double expected = 0.0;
    for (std::size_t i = 0; i < slopes.size(); ++i)
        expected += slopes[i].weight * (mean + u[i]);
    EXPECT_NEAR(result.mean_hz, expected, 1e-6);
}

}  // namespace partial_shares_test
}  // namespace rankwright::listening
