// A mixture fit's sums against products of gains and paths, from few sums by the addition theorems,
// against the same sums done directly.
#include "listening/mixture/table.h"

#include <cmath>
#include <complex>
#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace mixture_table_test {

TEST(MixtureTable, ProductsAreSummedAsIfOneByOne) {
    constexpr std::size_t kSamples = 150, kGains = 4, kPaths = 6;
    constexpr double kSpan_s = 2.4, kClose = 1e-9;
    std::mt19937_64 random(5);
    std::normal_distribution<double> normal;
    MixtureBand band;
    band.rate = 65.0;
    band.first_s = -1.14;
    for (std::size_t i = 0; i < kSamples; ++i) {
        band.re.push_back(normal(random));
        band.im.push_back(normal(random));
    }
    const MixtureTable table(band, kSpan_s, kGains, kPaths);
    MixtureTable::Sums sums;
    table.sum_for_gains(band.re.data(), band.im.data(), sums);
    table.sum_for_gain_paths(band.re.data(), band.im.data(), sums);
    std::vector<double> paths;
    table.paths(band.re.data(), paths);
    const auto sample = [&](std::size_t i) { return std::complex{band.re[i], band.im[i]}; };
    for (std::size_t j = 0; j < kGains; ++j) {
        for (std::size_t l = 0; l < kGains; ++l) {
            std::complex<double> sum = 0.0;
            double alone = 0.0;
            for (std::size_t i = 0; i < kSamples; ++i) {
                sum += table.gain(j)[i] * table.gain(l)[i] * sample(i);
                alone += table.gain(j)[i] * table.gain(l)[i];
            }
            EXPECT_NEAR(std::abs(MixtureTable::gains(sums, j, l) - sum), 0.0, kClose);
            EXPECT_NEAR(table.gains(j, l), alone, kClose);
        }
        for (std::size_t m = 0; m < kPaths; ++m) {
            std::complex<double> sum = 0.0;
            for (std::size_t i = 0; i < kSamples; ++i)
                sum += table.gain(j)[i] * table.path(m)[i] * sample(i);
            EXPECT_NEAR(std::abs(table.gain_path(sums, j, m) - sum), 0.0, kClose) << j << ' ' << m;
        }
    }
    for (std::size_t m = 0; m < kPaths; ++m)
        for (std::size_t l = 0; l < kPaths; ++l) {
            double sum = 0.0;
            for (std::size_t i = 0; i < kSamples; ++i)
                sum += table.path(m)[i] * table.path(l)[i] * band.re[i];
            EXPECT_NEAR(paths[m * kPaths + l], sum, kClose) << m << ' ' << l;
        }
}

// Each path is the integral of a slow cosine of unit mean square: its steps say so.
TEST(MixtureTable, PathsLeadBySlowCosines) {
    constexpr std::size_t kSamples = 2400, kPaths = 4;
    MixtureBand band;
    band.rate = 1000.0;
    band.first_s = -1.2;
    band.re.assign(kSamples, 0.0);
    band.im.assign(kSamples, 0.0);
    const MixtureTable table(band, 2.4, kPaths, kPaths);
    for (std::size_t m = 1; m < kPaths; ++m)
        for (std::size_t i = 1; i < kSamples; i += 37) {
            const double step = (table.path(m)[i] - table.path(m)[i - 1]) * band.rate;
            EXPECT_NEAR(step, 0.5 * (table.gain(m)[i] + table.gain(m)[i - 1]), 1e-4);
        }
}

}  // namespace mixture_table_test
}  // namespace rankwright::listening
