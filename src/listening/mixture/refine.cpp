// The steps of a key's fit towards the pitches, and what is then known of them.
#include "listening/arithmetic.h"
#include "listening/linear_rows.h"
#include "listening/linear_solve.h"
#include "listening/mixture/fit.h"
#include "listening/mixture/prior.h"
#include "listening/sample_sums.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::listening {

using namespace mixture_prior;

void MixtureFit::add_curvature(std::size_t b, const MixtureState& state) {
    const MixtureBand& band = bands_[b];
    Work& w = work_[b];
    const MixtureTable& t = tables_[b];
    const std::size_t n = band.size(), g = gains(), k = w.active.size(), q = k * g;
    if (k == 0 || w.cost >= kBrokenCost) return;
    std::vector<std::size_t> pipes;
    for (const std::size_t a : w.active)
        if (std::find(pipes.begin(), pipes.end(), band.tones[a].pipe) == pipes.end())
            pipes.push_back(band.tones[a].pipe);
    const std::size_t u = pipes.size();
    // i·2π·hz·(fitted tone), summed over each pipe's tones in the band; the residual.
    std::vector<Series> turned(u);
    for (Series& one : turned) {
        one.re.assign(n, 0.0);
        one.im.assign(n, 0.0);
    }
    Series rest{band.re, band.im};
    for (std::size_t a = 0; a < k; ++a) {
        const MixtureTone& tone = band.tones[w.active[a]];
        const auto p = static_cast<std::size_t>(std::find(pipes.begin(), pipes.end(), tone.pipe) -
                                                pipes.begin());
        const double scale = kTurn * kCent * tone.partial * model_.pipes[tone.pipe].nominal_hz;
        lay_fitted(b, a);
        add_scaled(-1.0, fitted_.re.data(), rest.re.data(), n);
        add_scaled(-1.0, fitted_.im.data(), rest.im.data(), n);
        add_scaled(-scale, fitted_.im.data(), turned[p].re.data(), n);
        add_scaled(scale, fitted_.re.data(), turned[p].im.data(), n);
    }
    const std::size_t m = terms(), all = model_.pipes.size() * m, v = u * m;
    const double noise = state.bands[b].noise;
    const double scale = 2.0 * model_.temper;
    SideBySide response;  // L⁻¹ΦᴴJ/σ²
    response.assign(q, v);
    std::vector<double> both(n), sums, explained;
    product_.resize(n);
    for (std::size_t p = 0; p < u; ++p) {
        const double *re = turned[p].re.data(), *im = turned[p].im.data();
        conjugate_product(re, im, rest.re.data(), rest.im.data(), product_.re.data(),
                          product_.im.data(), n);
        sums.resize(m);
        sum_rows(t.path(0).data(), m, product_.re.data(), n, sums.data());
        for (std::size_t x = 0; x < m; ++x)
            gradient_[pipes[p] * m + x] -= scale * sums[x] / noise;
        for (std::size_t a = 0; a < k; ++a) {
            conjugate_product(&w.re[a * n], &w.im[a * n], re, im, product_.re.data(),
                              product_.im.data(), n);
            t.sum_for_gain_paths(product_.re.data(), product_.im.data(), sums_);
            for (std::size_t j = 0; j < g; ++j)
                for (std::size_t x = 0; x < m; ++x)
                    response.set(a * g + j, p * m + x, t.gain_path(sums_, j, x) / noise);
        }
    }
    solve_lower(w.factor.data(), response);
    products_of(response, explained);
    for (std::size_t p = 0; p < u; ++p)
        for (std::size_t r = 0; r <= p; ++r) {
            for (std::size_t i = 0; i < n; ++i)
                both[i] = turned[p].re[i] * turned[r].re[i] + turned[p].im[i] * turned[r].im[i];
            t.paths(both.data(), sums);
            for (std::size_t x = 0; x < m; ++x)
                for (std::size_t y = 0; y < (p == r ? x + 1 : m); ++y) {
                    const double more =
                        scale * (sums[x * m + y] / noise -
                                 explained[(p * m + x) * response.width + r * m + y]);
                    const std::size_t i = pipes[p] * m + x, j = pipes[r] * m + y;
                    hessian_[i * all + j] += more;
                    if (i != j) hessian_[j * all + i] += more;
                }
        }
}

void MixtureFit::curvature(const MixtureState& state) {
    const std::size_t all = model_.pipes.size() * terms();
    hessian_.assign(all * all, 0.0);
    gradient_.assign(all, 0.0);
    for (std::size_t b = 0; b < bands_.size(); ++b)
        if (used_[b]) add_curvature(b, state);
    for (std::size_t j = 0; j < model_.pipes.size(); ++j) {
        const MixtureModel::Pipe& pipe = model_.pipes[j];
        for (std::size_t m = 0; m < terms(); ++m) {
            const std::size_t x = j * terms() + m;
            if (!state.present[j]) {
                hessian_[x * all + x] = 1.0;
                continue;
            }
            if (m == 0) {
                const double d = state.unknowns[x] - pipe.centre;
                const double variance = pipe.sd * pipe.sd;
                const double weight = pipe.sure ? 1.0 / variance : 4.0 / (3.0 * variance + d * d);
                hessian_[x * all + x] += weight;
                gradient_[x] += weight * d;
            } else {
                const double sd = state.wander[j] * std::pow(static_cast<double>(m), -kWanderFall);
                hessian_[x * all + x] += 1.0 / (sd * sd);
                gradient_[x] += state.unknowns[x] / (sd * sd);
            }
        }
    }
}

void MixtureFit::refine(MixtureState& state, int steps) {
    const std::size_t all = model_.pipes.size() * terms();
    double damping = 1e-3;
    settle(state, 2);
    for (int s = 0; s < steps; ++s) {
        curvature(state);
        bool moved = false;
        double largest = 0.0;
        for (int attempt = 0; attempt < 5 && !moved; ++attempt) {
            factor_ = hessian_;
            for (std::size_t x = 0; x < all; ++x)
                factor_[x * all + x] *= 1.0 + damping;
            step_ = gradient_;
            if (!cholesky<double>(factor_, all)) {
                damping = std::max(damping * 10.0, 1e-3);
                continue;
            }
            solve<double>(factor_, all, step_.data());
            MixtureState next = state;
            largest = 0.0;
            for (std::size_t x = 0; x < all; ++x) {
                const double step = std::clamp(step_[x], -2.0, 2.0);
                next.unknowns[x] -= step;
                if (state.present[x / terms()]) largest = std::max(largest, std::abs(step));
            }
            next.cost = cost(next);
            if (next.cost < state.cost) {
                state = std::move(next);
                moved = true;
                damping = std::max(damping * 0.1, 1e-6);
            } else {
                damping = std::max(damping * 10.0, 1e-3);
            }
        }
        if (!moved) cost(state);
        if (terms() > 1 && moved) {
            // Wander of each pipe, its coefficients' doubt included.
            factor_ = hessian_;
            if (cholesky<double>(factor_, all)) {
                std::vector<double> unit(all);
                for (std::size_t j = 0; j < model_.pipes.size(); ++j) {
                    if (!state.present[j]) continue;
                    double sum = 0.0;
                    for (std::size_t m = 1; m < terms(); ++m) {
                        const std::size_t x = j * terms() + m;
                        std::fill(unit.begin(), unit.end(), 0.0);
                        unit[x] = 1.0;
                        solve_lower<double>(factor_, all, unit.data());
                        double v = state.unknowns[x] * state.unknowns[x];
                        for (const double y : unit)
                            v += y * y;
                        sum += v * std::pow(static_cast<double>(m), 2.0 * kWanderFall);
                    }
                    constexpr double kPriorWeight = 3.0;
                    state.wander[j] =
                        std::sqrt((sum + kPriorWeight * kWander_cents * kWander_cents) /
                                  (static_cast<double>(terms() - 1) + kPriorWeight));
                }
            }
        }
        for (std::size_t b = 0; b < bands_.size(); ++b)
            if (used_[b]) relevel(b, state);
        repipe(state);
        state.cost = cost(state);
        if (largest < 1e-4 && s > 1) break;
    }
    curvature(state);
    factor_ = hessian_;
    state.evidence = -1e300;
    if (cholesky<double>(factor_, all))
        state.evidence = -state.cost - 0.5 * log_determinant<double>(factor_, all);
}

double MixtureFit::slope_share(std::size_t term) const {
    if (term == 0) return 1.0;
    if (term % 2 == 1) return 0.0;
    const double m = std::numbers::pi * static_cast<double>(term);
    return -12.0 * std::numbers::sqrt2 / (m * m);
}

std::vector<double> MixtureFit::covariance(const MixtureState& state) {
    cost(state);
    curvature(state);
    const std::size_t pipes = model_.pipes.size(), all = pipes * terms();
    std::vector<double> out(pipes * pipes, 0.0);
    factor_ = hessian_;
    if (!cholesky<double>(factor_, all)) return out;
    std::vector<double> half(pipes * all, 0.0);
    for (std::size_t j = 0; j < pipes; ++j) {
        for (std::size_t m = 0; m < terms(); ++m)
            half[j * all + j * terms() + m] = slope_share(m);
        solve_lower<double>(factor_, all, &half[j * all]);
    }
    for (std::size_t i = 0; i < pipes; ++i)
        for (std::size_t j = 0; j < pipes; ++j)
            for (std::size_t x = 0; x < all; ++x)
                out[i * pipes + j] += half[i * all + x] * half[j * all + x];
    return out;
}

}  // namespace rankwright::listening
