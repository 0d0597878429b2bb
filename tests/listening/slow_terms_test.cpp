// Sums by moments, against the same sums done sample by sample.
#include "listening/slow_terms.h"

#include <cmath>
#include <complex>
#include <cstddef>
#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace {

using Complex = std::complex<double>;
constexpr std::size_t kSlowSamples = 397;
constexpr double kSlowFirst = -0.48, kSlowStep = 0.97 / kSlowSamples;

double slow_time(std::size_t m) { return kSlowFirst + static_cast<double>(m) * kSlowStep; }

SlowSeries noise_series(std::mt19937_64& random) {
    std::normal_distribution<double> noise;
    SlowSeries series;
    series.resize(kSlowSamples);
    for (std::size_t m = 0; m < kSlowSamples; ++m) {
        series.re[m] = noise(random);
        series.im[m] = noise(random);
    }
    return series;
}

/// The first an offset, the odd ones aslant besides.
SlowTerms some_terms(std::size_t count, std::mt19937_64& random) {
    std::normal_distribution<double> noise;
    SlowTerms terms;
    terms.resize(count);
    terms.set(0, 0.0, 2.4);
    for (std::size_t order = 1; order < count; ++order)
        terms.set(order, noise(random), order % 2 == 1 ? noise(random) : 0.0);
    return terms;
}

/// Σ series·factor·a·term, sample by sample.
template <typename Factor>
Complex sample_by_sample(const SlowSeries& series, const Factor& factor, const SlowTerm& a,
                         const SlowTerm& term) {
    Complex sum;
    for (std::size_t m = 0; m < kSlowSamples; ++m) {
        const double u = slow_time(m);
        sum += Complex(series.re[m], series.im[m]) * factor(u) * a.at(u) * term.at(u);
    }
    return sum;
}

template <typename Factor>
void expect_sums(const SlowMoments& moments, const SlowSeries& series, const Factor& factor,
                 const SlowTerms& terms) {
    std::vector<double> re(terms.size()), im(terms.size()), only_re(terms.size());
    for (std::size_t a = 0; a < terms.size(); ++a) {
        const Complex one = sample_by_sample(series, factor, terms[a], SlowTerm{});
        EXPECT_NEAR(std::abs(moments.sum(terms[a]) - one), 0.0, 1e-9) << a;
        moments.sums(terms[a], terms, terms.size(), re.data(), im.data());
        moments.sums(terms[a], terms, terms.size(), only_re.data(), nullptr);
        EXPECT_EQ(only_re, re);
        for (std::size_t b = 0; b < terms.size(); ++b) {
            const Complex two = sample_by_sample(series, factor, terms[a], terms[b]);
            EXPECT_NEAR(std::abs(Complex(re[b], im[b]) - two), 0.0, 1e-9) << a << " and " << b;
        }
    }
}

TEST(SlowTerms, SumsByMomentsAreTheSumsOverAllSamples) {
    constexpr std::size_t kTerms = 19;
    std::mt19937_64 random(5);
    const SlowSeries series = noise_series(random);
    const SlowTerms terms = some_terms(kTerms, random);
    SlowRows rows;
    rows.lay(kSlowFirst, kSlowStep, kSlowSamples, 2 * kTerms - 1);
    SlowMoments moments;
    SlowSeries taken = series;
    moments.take(rows, taken, {2 * kTerms - 1, kTerms, 1});
    expect_sums(
        moments, series, [](double) { return Complex(1.0); }, terms);

    // In two goes.
    moments.clear();
    taken = series;
    moments.take(rows, taken, {kTerms, 0, 0});
    taken = series;
    moments.take(rows, taken, {2 * kTerms - 1, kTerms, 1});
    expect_sums(
        moments, series, [](double) { return Complex(1.0); }, terms);

    // Terms without a slope need no more than the cosines.
    SlowTerms level = terms;
    level.resize(kTerms);
    for (std::size_t order = 0; order < kTerms; ++order)
        level.set(order, 1.0 + static_cast<double>(order), 0.0);
    moments.clear();
    taken = series;
    moments.take(rows, taken, {2 * kTerms - 1, 0, 0});
    expect_sums(
        moments, series, [](double) { return Complex(1.0); }, level);
}

TEST(SlowTerms, MomentsOfAProductWithCosinesAreThoseOfTheProductsSamples) {
    constexpr std::size_t kTerms = 11;
    std::mt19937_64 random(8);
    std::normal_distribution<double> noise;
    const SlowSeries series = noise_series(random);
    const SlowTerms terms = some_terms(kTerms, random);
    for (const std::size_t factors : {1U, 2U, 6U}) {
        std::vector<Complex> gain(factors);
        for (Complex& x : gain)
            x = {noise(random), noise(random)};
        const auto at = [&](double u) {
            Complex sum;
            for (std::size_t j = 0; j < factors; ++j)
                sum += gain[j] * SlowTerm{j, 1.0, 0.0}.at(u);
            return sum;
        };
        SlowRows rows;
        const SlowMoments::Orders orders{2 * kTerms + factors, kTerms + factors, factors};
        rows.lay(kSlowFirst, kSlowStep, kSlowSamples, orders.front());
        SlowMoments moments, product;
        SlowSeries taken = series;
        moments.take(rows, taken, orders);
        product.take_product(moments, gain, false);
        EXPECT_EQ(product.orders(), (SlowMoments::Orders{2 * kTerms + 1, kTerms + 1, 1}));
        expect_sums(product, series, at, terms);

        product.take_product(moments, gain, true);
        expect_sums(
            product, series, [&](double u) { return std::conj(at(u)); }, terms);
    }
    SlowRows rows;
    rows.lay(kSlowFirst, kSlowStep, kSlowSamples, 2 * kTerms - 1);
    SlowMoments moments;
    SlowSeries taken = series;
    moments.take(rows, taken, {2 * kTerms - 1, kTerms, 1});
    moments.conjugate();
    SlowSeries turned = series;
    for (double& x : turned.im)
        x = -x;
    expect_sums(
        moments, turned, [](double) { return Complex(1.0); }, terms);
}

TEST(SlowTerms, BeyondTheSpanTheCosineStandsAndTheSlopeGoesOn) {
    const SlowTerm term{3, 2.0, 0.5};
    EXPECT_NEAR(term.at(0.8), -2.0 + 0.5 * 0.8, 1e-12);
    EXPECT_NEAR(term.at(-0.7), 2.0 - 0.5 * 0.7, 1e-12);
    EXPECT_NEAR(term.at(0.0), 0.0, 1e-12);
}

}  // namespace
}  // namespace rankwright::listening
