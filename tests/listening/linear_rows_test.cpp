// Against the definitions of the factor, the solution and the inverse: products put together again.
#include "listening/linear_rows.h"

#include <complex>
#include <cstddef>
#include <random>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace {

using Complex = std::complex<double>;

/// A·Aᴴ plus the identity, of noise.
std::vector<Complex> positive_definite(std::size_t n, std::mt19937_64& random) {
    std::normal_distribution<double> normal;
    std::vector<Complex> half(n * n), whole(n * n);
    for (Complex& x : half)
        x = {normal(random), normal(random)};
    for (std::size_t i = 0; i < n; ++i)
        for (std::size_t j = 0; j < n; ++j) {
            whole[i * n + j] = i == j ? 1.0 : 0.0;
            for (std::size_t k = 0; k < n; ++k)
                whole[i * n + j] += half[i * n + k] * std::conj(half[j * n + k]);
        }
    return whole;
}

Complex lower(const std::vector<Complex>& l, std::size_t n, std::size_t i, std::size_t j) {
    return j <= i ? l[i * n + j] : Complex{};
}

// Sizes on both sides of a register's.
TEST(LinearRows, FactorSolutionsAndInverseAreThoseOfTheMatrix) {
    std::mt19937_64 random(5);
    std::normal_distribution<double> normal;
    for (const std::size_t n : {1U, 2U, 3U, 4U, 5U, 8U, 13U}) {
        const std::vector<Complex> matrix = positive_definite(n, random);
        std::vector<Complex> factor = matrix;
        ASSERT_TRUE(cholesky(factor, n));
        for (std::size_t i = 0; i < n; ++i)
            for (std::size_t j = 0; j <= i; ++j) {
                Complex sum;
                for (std::size_t k = 0; k < n; ++k)
                    sum += lower(factor, n, i, k) * std::conj(lower(factor, n, j, k));
                EXPECT_NEAR(std::abs(sum - matrix[i * n + j]), 0.0, 1e-11) << n;
            }

        const std::size_t sides = n + 2;
        SideBySide y;
        y.assign(n, sides);
        std::vector<Complex> wanted(n * sides);
        for (std::size_t i = 0; i < n; ++i)
            for (std::size_t s = 0; s < sides; ++s) {
                wanted[i * sides + s] = {normal(random), normal(random)};
                y.set(i, s, wanted[i * sides + s]);
            }
        solve_lower(factor.data(), y);
        const auto at = [&](std::size_t i, std::size_t s) {
            return Complex{y.re[i * y.width + s], y.im[i * y.width + s]};
        };
        for (std::size_t i = 0; i < n; ++i)
            for (std::size_t s = 0; s < sides; ++s) {
                Complex sum;
                for (std::size_t k = 0; k <= i; ++k)
                    sum += factor[i * n + k] * at(k, s);
                EXPECT_NEAR(std::abs(sum - wanted[i * sides + s]), 0.0, 1e-11) << n;
            }
        std::vector<double> products;
        products_of(y, products);
        for (std::size_t s = 0; s < sides; ++s)
            for (std::size_t t = 0; t <= s; ++t) {
                Complex sum;
                for (std::size_t i = 0; i < n; ++i)
                    sum += std::conj(at(i, s)) * at(i, t);
                EXPECT_NEAR(products[s * y.width + t], sum.real(), 1e-9) << n;
            }

        // The columns of L⁻¹ are what solves the unit vectors; (L·Lᴴ)⁻¹ = L⁻ᴴ·L⁻¹.
        SideBySide units;
        units.assign(n, n);
        for (std::size_t i = 0; i < n; ++i)
            units.set(i, i, 1.0);
        solve_lower(factor.data(), units);
        std::vector<double> diagonal;
        inverse_diagonal(factor.data(), n, diagonal);
        for (std::size_t s = 0; s < n; ++s) {
            double sum = 0.0;
            for (std::size_t i = 0; i < n; ++i)
                sum += std::norm(
                    Complex{units.re[i * units.width + s], units.im[i * units.width + s]});
            EXPECT_NEAR(diagonal[s], sum, 1e-9 * sum) << n;
        }
    }
}

TEST(LinearRows, AMatrixThatIsNotPositiveDefiniteHasNoFactor) {
    std::vector<Complex> matrix{1.0, 0.0, Complex{0.0, 2.0}, 1.0};
    EXPECT_FALSE(cholesky(matrix, 2));
}

}  // namespace
}  // namespace rankwright::listening
