// What a fitted pair says: mean pitches over the span, and how sure they are.
#include "listening/linear_solve.h"
#include "listening/pair_fit.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <utility>

namespace rankwright::listening {

namespace {

using Complex = std::complex<double>;
constexpr double kTurn = 2.0 * std::numbers::pi;
/// Points over the whole span at which phase paths are looked at: the bands end a little inside it.
constexpr std::size_t kPoints = 64;
/// A band whose noise is this much more than the noise between the partials: the pipes' own rustle.
constexpr double kRustling = 2.5;

/// Variance of a weighted mean from how its members differ.
double scatter(const std::vector<std::pair<double, double>>& slopes, double total, double mean) {
    double squares = 0.0, sum = 0.0;
    for (const auto& [slope, weight] : slopes) {
        const double w = weight / total;
        squares += w * w;
        sum += w * w * (slope - mean) * (slope - mean);
    }
    return squares < 0.95 ? sum / (1.0 - squares) : 0.0;
}

}  // namespace

/// Slope of the phase k·φ + arg(gain) of one partial over the span, weighted by |gain|², in Hz of
/// the fundamental, with its derivatives by the path's unknowns and by the gain's coefficients.
struct PairFit::Slope {
    double slope = 0.0;
    double weight = 0.0;  ///< information on it
    std::vector<double> by_path;
    std::vector<Complex> by_gain;
};

PairFit::Slope PairFit::mean_slope(std::size_t b, std::size_t pipe, const PairState& state,
                                   const std::vector<double>& path,
                                   const std::vector<double>& gain) const {
    const Work& w = work_[b];
    const double k = partial(b, pipe);
    const Complex* c = &w.amplitude[pipe * gains_];
    std::vector<Complex> gains(kPoints);
    double power = 0.0, centre = 0.0, spread = 0.0;
    for (std::size_t m = 0; m < kPoints; ++m) {
        for (std::size_t j = 0; j < gains_; ++j)
            gains[m] += c[j] * gain[j * kPoints + m];
        power += std::norm(gains[m]);
        centre += std::norm(gains[m]) * path[m];
    }
    centre /= std::max(power, 1e-300);
    for (std::size_t m = 0; m < kPoints; ++m)
        spread += std::norm(gains[m]) * (path[m] - centre) * (path[m] - centre);

    Slope result;
    result.by_path.resize(path_);
    result.by_gain.resize(2 * gains_);
    if (!(spread > 0.0)) return result;
    result.weight = k * k * power * bands_[b].rate / state.bands[b].noise;
    for (std::size_t m = 0; m < kPoints; ++m) {
        const double part = std::norm(gains[m]) * (path[m] - centre) / spread;
        for (std::size_t p = 0; p < path_; ++p) {
            const double g = part * path[p * kPoints + m];
            result.slope += g * state.unknowns[pipe * path_ + p];
            result.by_path[p] += g;
        }
        result.slope += part * std::arg(gains[m] * std::conj(c[0])) / (kTurn * k);
        for (std::size_t j = 0; j < gains_; ++j)
            result.by_gain[pipe * gains_ + j] += std::conj(gains[m]) * gain[j * kPoints + m] *
                                                 ((path[m] - centre) / (spread * kTurn * k));
    }
    return result;
}

PairAnswer PairFit::answer(PairState& state) {
    evaluate(state, true, true);
    PairAnswer answer;
    factor_ = hessian_;
    cholesky<double>(factor_, unknowns_);
    std::vector<double> path, gain;
    const double step_s = model_.span_s / static_cast<double>(kPoints);
    lay_basis(0.5 * (step_s - model_.span_s), step_s, kPoints, path, gain);

    const std::size_t q = 2 * gains_;
    std::array<std::vector<double>, 2> by;  // ∂(mean)/∂unknowns
    std::array<double, 2> from_gains{};     // variance of the mean by the gains alone
    for (std::size_t i = 0; i < 2; ++i) {
        by[i].assign(unknowns_, 0.0);
        double total = 0.0, mean = 0.0, rustling = 0.0;
        std::vector<std::pair<double, double>> slopes;  // of each partial, with its weight
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            if (!has(b, i)) continue;
            const Work& w = work_[b];
            Slope s = mean_slope(b, i, state, path, gain);
            total += s.weight;
            mean += s.weight * s.slope;
            if (state.bands[b].noise > kRustling * bands_[b].floor) rustling += s.weight;
            slopes.emplace_back(s.slope, s.weight);
            for (std::size_t p = 0; p < unknowns_; ++p) {
                double change = p / path_ == i ? s.by_path[p % path_] : 0.0;
                for (std::size_t a = 0; a < q; ++a)
                    change -= (s.by_gain[a] * w.response[a * unknowns_ + p]).imag();
                by[i][p] += s.weight * change;
            }
            // Im(byᵀc), c complex Gaussian of covariance A⁻¹: half of byᵀA⁻¹by*.
            for (Complex& x : s.by_gain)
                x = std::conj(x);
            solve_lower<Complex>(w.normal, q, s.by_gain.data());
            double own = 0.0;
            for (const Complex x : s.by_gain)
                own += std::norm(x);
            from_gains[i] += s.weight * s.weight * 0.5 * own;
        }
        if (total > 0.0) {
            answer.offset_hz[i] = mean / total;
            for (double& x : by[i])
                x /= total;
            from_gains[i] /= total * total;
            answer.rustle[i] = rustling / total;
            answer.scatter[i] = scatter(slopes, total, mean / total);
        } else {
            answer.offset_hz[i] = state.unknowns[i * path_];
            by[i][i * path_] = 1.0;
        }
        solve_lower<double>(factor_, unknowns_, by[i].data());
    }
    for (std::size_t i = 0; i < 2; ++i)
        for (std::size_t l = 0; l < 2; ++l) {
            for (std::size_t p = 0; p < unknowns_; ++p)
                answer.variance[i][l] += by[i][p] * by[l][p];
            if (i == l) answer.variance[i][l] += from_gains[i];
        }
    return answer;
}

}  // namespace rankwright::listening
