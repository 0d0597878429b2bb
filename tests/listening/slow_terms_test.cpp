// Sums by moments, against the same sums done sample by sample.
#include "listening/slow_terms.h"

#include <cmath>
#include <cstddef>
#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace {

TEST(SlowTerms, SumsByMomentsAreTheSumsOverAllSamples) {
    constexpr std::size_t kSamples = 397, kHighest = 18;
    SlowRows rows;
    const double step = 0.97 / kSamples;
    rows.lay(-0.48, step, kSamples, kHighest);
    std::mt19937_64 random(5);
    std::normal_distribution<double> noise;
    std::vector<double> series(kSamples);
    for (double& x : series)
        x = noise(random);

    std::vector<SlowTerm> terms{{0, 0.0, 2.4}, {0, 1.0, 0.0}};
    for (std::size_t order = 1; order <= kHighest; ++order)
        terms.push_back({order, noise(random), order % 2 == 1 ? noise(random) : 0.0});
    SlowMoments moments;
    moments.take(rows, series, kHighest, kHighest);
    for (const SlowTerm& a : terms) {
        double one = 0.0;
        for (std::size_t m = 0; m < kSamples; ++m)
            one += series[m] * a.at(-0.48 + static_cast<double>(m) * step);
        EXPECT_NEAR(moments.sum(a), one, 1e-9) << a.order;
        for (const SlowTerm& b : terms) {
            double two = 0.0;
            for (std::size_t m = 0; m < kSamples; ++m) {
                const double u = -0.48 + static_cast<double>(m) * step;
                two += series[m] * a.at(u) * b.at(u);
            }
            EXPECT_NEAR(moments.sum(a, b), two, 1e-9) << a.order << " and " << b.order;
        }
    }
}

TEST(SlowTerms, BeyondTheSpanTheCosineStandsAndTheSlopeGoesOn) {
    const SlowTerm term{3, 2.0, 0.5};
    EXPECT_NEAR(term.at(0.8), -2.0 + 0.5 * 0.8, 1e-12);
    EXPECT_NEAR(term.at(-0.7), 2.0 - 0.5 * 0.7, 1e-12);
    EXPECT_NEAR(term.at(0.0), 0.0, 1e-12);
}

}  // namespace
}  // namespace rankwright::listening
