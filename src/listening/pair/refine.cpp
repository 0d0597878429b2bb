// What a pair's fit expects of pipes beforehand, and its steps from a start to what explains a
// sound.
#include "listening/arithmetic.h"
#include "listening/linear_solve.h"
#include "listening/pair/fit.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::listening {

namespace {

using Complex = std::complex<double>;
/// Wander: a phase path's cosines have the variances of white frequency wander; this much a term
/// over kWanderSpan is usual, and kWanderWeight terms' worth is known of it beforehand.
constexpr double kUsualWander = 0.01;
constexpr double kWanderSpan = 2.4;
constexpr double kWanderWeight = 0.05;
constexpr double kLeastWander = 0.0003;
/// Unrest of a partial's slow gain, the same.
constexpr double kUsualUnrest = 0.02;
constexpr double kPairUnrestWeight = 3.0;
constexpr double kLeastUnrest = 0.0003;
/// A pipe's partial keeps most of its level. Without this bound a second "tone" that never stands
/// explains a reed's rustle, in dozens of lines that the flue beside it hasn't.
constexpr double kMostUnrest = 0.3;
/// So many standard uncertainties off, the prior of the reference's offset goes on straight.
constexpr double kReferenceTail = 4.0;

}  // namespace

PairState PairFit::start(double reference_offset_hz, double pipe_offset_hz) {
    PairState state;
    state.unknowns.assign(unknowns_, 0.0);
    state.unknowns[0] = reference_offset_hz;
    state.unknowns[path_] = pipe_offset_hz;
    state.wander = {kUsualWander, kUsualWander};
    state.unrest = {kUsualUnrest, kUsualUnrest};
    state.bands.resize(bands_.size());
    for (std::size_t b = 0; b < bands_.size(); ++b) {
        double power = 0.0;
        for (const Complex z : bands_[b].z)
            power += std::norm(z);
        power /= static_cast<double>(bands_[b].z.size());
        PairState::Band& band = state.bands[b];
        band.level = {power, power};
        band.unrest = state.unrest;
        band.noise = std::max(bands_[b].floor, 1e-3 * power);
    }
    return state;
}

double PairFit::wander_over_span(const PairState& state, std::size_t pipe) const {
    const double cents = state.wander[pipe] * std::sqrt(kWanderSpan / model_.span_s);
    return cents * kCent * model_.nominal_hz[pipe];
}

double PairFit::wander_variance(const PairState& state, std::size_t pipe, std::size_t term) const {
    const double cycles = wander_over_span(state, pipe) * std::numbers::sqrt2 * model_.span_s /
                          (std::numbers::pi * static_cast<double>(term));
    return cycles * cycles;
}

void PairFit::add_priors(const PairState& state, bool curvature) {
    // Gaussian, with straight tails: a pipe measured a moment ago may have moved.
    const double x = state.unknowns[0] / model_.reference_sd_hz;
    const double held = std::min(1.0, kReferenceTail / std::max(std::abs(x), 1e-9));
    cost_ += held < 1.0 ? kReferenceTail * (std::abs(x) - 0.5 * kReferenceTail) : 0.5 * x * x;
    cost_ += std::log(model_.reference_sd_hz);
    const double weight = held / (model_.reference_sd_hz * model_.reference_sd_hz);
    gradient_[0] += weight * state.unknowns[0];
    if (curvature) hessian_[0] += weight;
    const double reach = model_.pipe_sd_hz, y = state.unknowns[path_] / reach;
    cost_ += 0.5 * y * y + std::log(reach);
    gradient_[path_] += y / reach;
    if (curvature) hessian_[path_ * (unknowns_ + 1)] += 1.0 / (reach * reach);
    for (std::size_t i = 0; i < 2; ++i) {
        for (std::size_t j = 1; j < path_; ++j) {
            const double variance = wander_variance(state, i, j);
            const double u = state.unknowns[i * path_ + j];
            cost_ += 0.5 * (u * u / variance + std::log(variance));
            gradient_[i * path_ + j] += u / variance;
            if (curvature) hessian_[(i * path_ + j) * (unknowns_ + 1)] += 1.0 / variance;
        }
        const double s = state.wander[i] / kUsualWander;
        cost_ += kWanderWeight * (std::log(s) + 0.5 / (s * s));
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            if (!has(b, i)) continue;
            const double r = state.bands[b].unrest[i] / state.unrest[i];
            cost_ += kPairUnrestWeight * (2.0 * std::log(r) + 1.0 / (r * r));
        }
    }
}

/// One round of expectation maximisation for levels, unrest, noise and wander (Dempster, Laird and
/// Rubin, J. R. Stat. Soc. B 39(1), 1977).
void PairFit::relevel(PairState& state) {
    const std::size_t q = 2 * gains_;
    std::array<double, 2> unrest{}, count{};
    std::vector<double>& inverse = diagonal_;
    for (std::size_t b = 0; b < bands_.size(); ++b) {
        Work& w = work_[b];
        PairState::Band& s = state.bands[b];
        inverse_diagonal(w.normal.data(), q, inverse, room_);
        // Of A⁻¹ΦᴴΦ, as A is ΦᴴΦ/σ² + Λ⁻¹.
        double leftover = 0.0;
        for (std::size_t i = 0; i < 2; ++i)
            for (std::size_t j = 0; j < gains_; ++j)
                leftover += 1.0 - inverse[i * gains_ + j] / spread(b, s, i, j);
        leftover *= s.noise;
        s.noise = std::max(bands_[b].floor,
                           bands_[b].whiteness * (w.left + leftover) / std::max(1.0, w.count));
        for (std::size_t i = 0; i < 2; ++i) {
            if (!has(b, i)) continue;
            const std::size_t at = i * gains_;
            s.level[i] = std::max(std::norm(w.amplitude[at]) + inverse[at],
                                  1e-3 * bands_[b].floor / std::max(1.0, w.count));
            double sum = 0.0;
            for (std::size_t j = 1; j < gains_; ++j)
                sum +=
                    (std::norm(w.amplitude[at + j]) + inverse[at + j]) / (share_[j] * s.level[i]);
            const double prior = state.unrest[i] * state.unrest[i];
            const double terms = static_cast<double>(gains_ - 1);
            const double variance = (2.0 * kPairUnrestWeight * prior + 2.0 * sum) /
                                    (2.0 * kPairUnrestWeight + 2.0 * terms);
            s.unrest[i] = std::clamp(std::sqrt(variance), kLeastUnrest, kMostUnrest);
            unrest[i] += 1.0 / (s.unrest[i] * s.unrest[i]);
            count[i] += 1.0;
        }
    }
    std::copy(hessian_.begin(), hessian_.end(), factor_.begin());
    const bool curved = cholesky<double>(factor_, unknowns_);
    for (std::size_t i = 0; i < 2; ++i) {
        if (count[i] > 0.0) {
            const double own = kUsualUnrest;
            state.unrest[i] = std::sqrt((count[i] + 1.0) / (unrest[i] + 1.0 / (own * own)));
            state.unrest[i] = std::max(state.unrest[i], kLeastUnrest);
        }
        if (!curved) continue;
        double sum = 0.0;
        for (std::size_t j = 1; j < path_; ++j) {
            std::fill(step_.begin(), step_.end(), 0.0);
            step_[i * path_ + j] = 1.0;
            solve_lower<double>(factor_, unknowns_, step_.data());
            double spread = 0.0;
            for (const double x : step_)
                spread += x * x;
            const double u = state.unknowns[i * path_ + j];
            const double unit = wander_variance(state, i, j) / (state.wander[i] * state.wander[i]);
            sum += (u * u + spread) / unit;
        }
        const double weight = kWanderWeight;
        state.wander[i] = std::max(std::sqrt((weight * kUsualWander * kUsualWander + sum) /
                                             (weight + static_cast<double>(path_ - 1))),
                                   kLeastWander);
    }
}

void PairFit::refine(PairState& state, int steps) {
    double damping = 1e-3;
    evaluate(state, true, true);
    for (int round = 0; round < steps; ++round) {
        relevel(state);
        evaluate(state, true, false);
        const double before = cost_;
        bool better = false;
        next_ = state;
        for (int attempt = 0; attempt < 3 && !better; ++attempt) {
            factor_ = hessian_;
            for (std::size_t p = 0; p < unknowns_; ++p)
                factor_[p * (unknowns_ + 1)] *= 1.0 + damping;
            if (cholesky<double>(factor_, unknowns_)) {
                step_ = gradient_;
                held_gradient_ = gradient_;
                solve<double>(factor_, unknowns_, step_.data());
                for (std::size_t p = 0; p < unknowns_; ++p)
                    next_.unknowns[p] = state.unknowns[p] - step_[p];
                evaluate(next_, false, true);
                better = cost_ <= before;
                gradient_ = held_gradient_;
            }
            damping = better ? std::max(damping * 0.2, 1e-6) : std::max(damping * 10.0, 1e-2);
        }
        if (better)
            state.unknowns = next_.unknowns;
        else
            evaluate(state, false, true);
    }
    evaluate(state, true, false);
    state.cost = cost_;
    factor_ = hessian_;
    state.evidence = -cost_;
    if (cholesky<double>(factor_, unknowns_))
        state.evidence -= 0.5 * log_determinant<double>(factor_, unknowns_);
}

}  // namespace rankwright::listening
