// The grid's evidence against its definition: amplitudes and slopes with their priors integrated
// out of white noise (Bishop, Pattern Recognition and Machine Learning, 2006, section 3.5), by sums
// over all samples and elimination.
#include "listening/pair/grid.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <numbers>
#include <random>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace {

using Complex = std::complex<double>;
constexpr double kGridStep = 0.11;
constexpr int kGridAround = 4, kGridReach = 9;
constexpr std::array<double, 4> kGridTurns{1.0, 3.0, 2.0, 2.0};

/// Two tones in noise, an even and an odd number of samples about the span's middle; one band of
/// the reference alone, and one of the pipe.
std::vector<PairBand> grid_bands() {
    std::mt19937_64 random(7);
    std::normal_distribution<double> noise(0.0, 0.1);
    std::vector<PairBand> bands(kGridTurns.size());
    for (std::size_t b = 0; b < bands.size(); ++b) {
        PairBand& band = bands[b];
        band.rate = 61.0;
        band.floor = 0.02;
        band.line.reference_partial = b == 3 ? 0 : static_cast<int>(kGridTurns[b]);
        band.line.pipe_partial = b == 2 ? 0 : static_cast<int>(kGridTurns[b]);
        band.z.resize(120 + b);
        band.first_s = -0.5 * static_cast<double>(band.z.size() - 1) / band.rate;
        for (std::size_t m = 0; m < band.z.size(); ++m) {
            const double turns =
                kGridTurns[b] * kGridStep * (band.first_s + static_cast<double>(m) / band.rate);
            band.z[m] = Complex(noise(random), noise(random));
            if (b != 3) band.z[m] += std::polar(1.0, 2.0 * std::numbers::pi * turns * 1.2);
            if (b != 2) band.z[m] += std::polar(0.4, 2.0 * std::numbers::pi * turns * -3.3 + 1.0);
        }
    }
    return bands;
}

/// hᴴA⁻¹h − ln det A.
double by_elimination(std::vector<std::vector<Complex>> a, std::vector<Complex> h) {
    const std::size_t n = h.size();
    const std::vector<Complex> before = h;
    double sum = 0.0;
    for (std::size_t i = 0; i < n; ++i) {
        sum -= std::log(a[i][i].real());
        for (std::size_t row = 0; row < n; ++row) {
            if (row == i) continue;
            const Complex factor = a[row][i] / a[i][i];
            for (std::size_t k = i; k < n; ++k)
                a[row][k] -= factor * a[i][k];
            h[row] -= factor * h[i];
        }
    }
    for (std::size_t i = 0; i < n; ++i)
        sum += (std::conj(before[i]) * h[i] / a[i][i]).real();
    return sum;
}

double grid_evidence(const std::vector<PairBand>& bands, int reference, int pipe) {
    double sum = 0.0;
    for (std::size_t b = 0; b < bands.size(); ++b) {
        const PairBand& band = bands[b];
        const std::size_t n = band.z.size();
        double power = 0.0;
        for (const Complex z : band.z)
            power += std::norm(z) / static_cast<double>(n);
        const double noise = band.floor + 0.02 * 0.02 * power;  // unsteady by 2 %
        std::vector<std::vector<Complex>> terms;
        std::vector<double> spread;
        for (const bool of_pipe : {false, true}) {
            if ((of_pipe ? band.line.pipe_partial : band.line.reference_partial) == 0) continue;
            const double hz = kGridTurns[b] * kGridStep * (of_pipe ? pipe : reference);
            for (const bool slope : {false, true}) {
                std::vector<Complex> term(n);
                for (std::size_t m = 0; m < n; ++m) {
                    const double t = band.first_s + static_cast<double>(m) / band.rate;
                    const double root_mean_square_1 =
                        2.0 * std::numbers::sqrt3 * t * band.rate / static_cast<double>(n);
                    term[m] = std::polar(slope ? root_mean_square_1 : 1.0,
                                         2.0 * std::numbers::pi * hz * t);
                }
                terms.push_back(term);
                spread.push_back(power * (slope ? 0.1 * 0.1 : 1.0));  // a tenth a slope
            }
        }
        std::vector<std::vector<Complex>> a(terms.size(), std::vector<Complex>(terms.size()));
        std::vector<Complex> h(terms.size());
        for (std::size_t i = 0; i < terms.size(); ++i) {
            a[i][i] = 1.0 / spread[i];
            for (std::size_t m = 0; m < n; ++m) {
                h[i] += std::conj(terms[i][m]) * band.z[m] / noise;
                for (std::size_t k = 0; k < terms.size(); ++k)
                    a[i][k] += std::conj(terms[i][m]) * terms[k][m] / noise;
            }
        }
        sum += by_elimination(a, h);
    }
    return sum;
}

TEST(PairGrid, EvidenceIsThatOfTheTonesAndTheirSlopes) {
    const std::vector<PairBand> bands = grid_bands();
    const PairGrid grid(bands, kGridTurns, kGridStep, kGridAround, kGridReach);
    std::vector<double> row(2 * kGridReach + 1);
    std::vector<std::pair<double, std::pair<int, int>>> all;
    for (int reference = -kGridAround; reference <= kGridAround; ++reference) {
        grid.lay_evidence(reference, row);
        for (int pipe = -kGridReach; pipe <= kGridReach; ++pipe) {
            const double wanted = grid_evidence(bands, reference, pipe);
            EXPECT_NEAR(grid.evidence(reference, pipe), wanted, 1e-5 * std::abs(wanted))
                << reference << " and " << pipe;
            EXPECT_NEAR(row[static_cast<std::size_t>(pipe + kGridReach)],
                        grid.evidence(reference, pipe), 1e-9 * std::abs(wanted));
            all.push_back({wanted, {reference, pipe}});
        }
    }
    EXPECT_EQ(std::max_element(all.begin(), all.end())->second, std::make_pair(1, -3));
}

TEST(PairGrid, WhatOneToneExplainsIsLargestWhereItIs) {
    const std::vector<PairBand> bands = grid_bands();
    const PairGrid grid(bands, kGridTurns, kGridStep, kGridAround, kGridReach);
    for (int at = -kGridReach; at <= kGridReach; ++at) {
        EXPECT_LE(grid.alone(false, at), grid.alone(false, 1)) << at;
        double sum = 0.0;
        for (std::size_t b = 0; b < bands.size(); ++b) {
            if (bands[b].line.pipe_partial == 0) continue;
            Complex tone;
            double power = 0.0;
            for (std::size_t m = 0; m < bands[b].z.size(); ++m) {
                const double t = bands[b].first_s + static_cast<double>(m) / bands[b].rate;
                tone += bands[b].z[m] * std::polar(1.0, -2.0 * std::numbers::pi * kGridTurns[b] *
                                                            kGridStep * at * t);
                power += std::norm(bands[b].z[m]);
            }
            const auto n = static_cast<double>(bands[b].z.size());
            sum += std::norm(tone) / (n * (bands[b].floor + 0.02 * 0.02 * power / n));
        }
        EXPECT_NEAR(grid.alone(true, at), sum, 1e-9 * sum + 1e-9);
    }
}

}  // namespace
}  // namespace rankwright::listening
