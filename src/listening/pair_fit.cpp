#include "listening/pair_fit.h"

#include "listening/arithmetic.h"
#include "listening/linear_solve.h"
#include "listening/sample_sums.h"

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

void PairFit::take(std::span<const PairBand> bands, const PairModel& model) {
    bands_ = bands;
    model_ = model;
    path_ = 1 + model.wander_terms;
    gains_ = 1 + model.gain_terms;
    unknowns_ = 2 * path_;
    share_.resize(gains_);
    for (std::size_t j = 0; j < gains_; ++j)
        share_[j] = j == 0 ? 1.0 : 1.0 / static_cast<double>(j * j);
    path_terms_.resize(path_);
    for (std::size_t j = 0; j < path_; ++j)
        path_terms_[j] = path_term(j);
    gain_terms_.resize(gains_);
    for (std::size_t j = 0; j < gains_; ++j)
        gain_terms_[j] = gain_term(j);
    if (work_.size() < bands_.size()) work_.resize(bands_.size());
    hessian_.resize(unknowns_ * unknowns_);
    factor_.resize(unknowns_ * unknowns_);
    gradient_.resize(unknowns_);
    held_gradient_.resize(unknowns_);
    step_.resize(unknowns_);
    inverse_.resize(4 * gains_ * gains_);
    taken_up_.resize(unknowns_);
    for (std::size_t b = 0; b < bands_.size(); ++b)
        lay_work(b);
}

void PairFit::lay_work(std::size_t b) {
    Work& w = work_[b];
    const PairBand& band = bands_[b];
    const std::size_t n = band.z.size();
    const std::size_t q = 2 * gains_;
    w.rows.lay(band.first_s / model_.span_s, 1.0 / (band.rate * model_.span_s), n, highest());
    w.mask.resize(n);
    for (Series* series :
         {&w.heard, &w.tone[0], &w.tone[1], &w.fitted[0], &w.fitted[1], &w.residual, &w.product}) {
        series->re.resize(n);
        series->im.resize(n);
    }
    w.energy = w.count = 0.0;
    for (std::size_t m = 0; m < n; ++m) {
        // What was hidden has no tones and no sound: it falls out of every sum.
        const double heard = band.heard.empty() ? 1.0 : band.heard[m];
        w.heard.re[m] = heard * band.z[m].real();
        w.heard.im[m] = heard * band.z[m].imag();
        w.energy += heard * std::norm(band.z[m]);
        w.count += heard;
        w.mask[m] = heard;
    }
    w.normal.resize(q * q);
    w.gram.assign(q * q, 0.0);
    std::vector<double>& sounding = w.product.re;
    sounding = w.mask;
    for (std::size_t i = 0; i < 2; ++i) {
        if (i == 1)
            std::fill_n(sounding.begin(), static_cast<std::ptrdiff_t>(first_of_pipe(b)), 0.0);
        if (!has(b, i)) continue;
        re_.take(w.rows, sounding, gains_ - 1, gains_ - 1);
        for (std::size_t j = 0; j < gains_; ++j)
            for (std::size_t l = 0; l < gains_; ++l)
                w.gram[(i * gains_ + j) * q + i * gains_ + l] =
                    re_.sum(gain_terms_[j], gain_terms_[l]);
    }
    w.matched.resize(q);
    w.amplitude.resize(q);
    w.response.resize(q * unknowns_);
}

// Without the slope of the odd ones, which is the offset's business: beyond the span it leaves the
// pitch what it was there.
SlowTerm PairFit::path_term(std::size_t j) const {
    constexpr double kHalfTurn = std::numbers::pi;
    const double jj = static_cast<double>(j);
    if (j == 0) return {0, 0.0, model_.span_s};
    return {j, 1.0, j % 2 == 1 ? 24.0 / (kHalfTurn * kHalfTurn * jj * jj) : 0.0};
}

SlowTerm PairFit::gain_term(std::size_t j) { return {j, j == 0 ? 1.0 : std::numbers::sqrt2, 0.0}; }

int PairFit::partial(std::size_t b, std::size_t pipe) const {
    return pipe == 0 ? bands_[b].line.reference_partial : bands_[b].line.pipe_partial;
}

bool PairFit::has(std::size_t b, std::size_t pipe) const { return partial(b, pipe) > 0; }

/// Of a band's samples, the first in which the pipe sounds.
std::size_t PairFit::first_of_pipe(std::size_t b) const {
    const PairBand& band = bands_[b];
    const double first = std::ceil((model_.pipe_from_s - band.first_s) * band.rate);
    return static_cast<std::size_t>(std::clamp(first, 0.0, static_cast<double>(band.z.size())));
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

namespace {

/// conj(a)·b, sample by sample.
void conjugate_product(const PairFit::Series& a, const PairFit::Series& b, PairFit::Series& out) {
    listening::conjugate_product(a.re.data(), a.im.data(), b.re.data(), b.im.data(), out.re.data(),
                                 out.im.data(), a.re.size());
}

}  // namespace

void PairFit::lay_tones(std::size_t b, const PairState& state) {
    Work& w = work_[b];
    const std::size_t n = w.heard.re.size();
    std::vector<double>& cycles = w.product.re;
    for (std::size_t i = 0; i < 2; ++i) {
        if (!has(b, i)) continue;
        const double k = partial(b, i);
        const double at_hz = k * model_.nominal_hz[i] - bands_[b].line.centre_hz;
        std::fill(cycles.begin(), cycles.end(), 0.0);
        double slope = at_hz * model_.span_s;
        for (std::size_t p = 0; p < path_; ++p) {
            const SlowTerm& term = path_terms_[p];
            const double turns = k * state.unknowns[i * path_ + p];
            slope += turns * term.slope;
            if (term.cosine != 0.0)
                add_scaled(turns * term.cosine, &w.rows.cosines()[term.order * n], cycles.data(),
                           n);
        }
        add_scaled(slope, w.rows.time().data(), cycles.data(), n);
        lay_circle(cycles.data(), w.tone[i].re.data(), w.tone[i].im.data(), n);
        for (std::size_t m = 0; m < n; ++m) {
            w.tone[i].re[m] *= w.mask[m];
            w.tone[i].im[m] *= w.mask[m];
        }
        if (i == 0) continue;
        const auto silent = static_cast<std::ptrdiff_t>(first_of_pipe(b));
        std::fill_n(w.tone[i].re.begin(), silent, 0.0);
        std::fill_n(w.tone[i].im.begin(), silent, 0.0);
    }
}

void PairFit::gather(std::size_t b) {
    Work& w = work_[b];
    const std::size_t q = 2 * gains_;
    const auto take = [&](std::size_t other) {
        re_.take(w.rows, w.product.re, gains_ - 1, other);
        im_.take(w.rows, w.product.im, gains_ - 1, other);
    };
    std::fill(w.matched.begin(), w.matched.end(), 0.0);
    for (std::size_t i = 0; i < 2; ++i) {
        if (!has(b, i)) continue;
        conjugate_product(w.tone[i], w.heard, w.product);
        take(0);
        for (std::size_t j = 0; j < gains_; ++j)
            w.matched[i * gains_ + j] = {re_.sum(gain_terms_[j]), im_.sum(gain_terms_[j])};
    }
    if (!has(b, 0) || !has(b, 1)) return;
    conjugate_product(w.tone[1], w.tone[0], w.product);
    take(gains_ - 1);
    for (std::size_t j = 0; j < gains_; ++j)
        for (std::size_t l = 0; l < gains_; ++l) {
            const Complex cross{re_.sum(gain_terms_[j], gain_terms_[l]),
                                im_.sum(gain_terms_[j], gain_terms_[l])};
            w.gram[(gains_ + j) * q + l] = cross;
            w.gram[l * q + gains_ + j] = std::conj(cross);
        }
}

void PairFit::evaluate_band(std::size_t b, const PairState& state, bool curvature) {
    Work& w = work_[b];
    const PairState::Band& s = state.bands[b];
    const std::size_t q = 2 * gains_;
    double prior = 0.0;  // ln det Λ
    for (std::size_t i = 0; i < q * q; ++i)
        w.normal[i] = w.gram[i] / s.noise;
    for (std::size_t i = 0; i < 2; ++i)
        for (std::size_t j = 0; j < gains_; ++j) {
            const double spread =
                s.level[i] * (j == 0 ? 1.0 : s.unrest[i] * s.unrest[i] * share_[j]);
            const std::size_t at = i * gains_ + j;
            w.normal[at * q + at] += has(b, i) ? 1.0 / spread : 1.0;
            if (has(b, i)) prior += std::log(spread);
        }
    cholesky<Complex>(w.normal, q);
    std::vector<Complex>& c = w.amplitude;
    double explained = 0.0;
    for (std::size_t a = 0; a < q; ++a)
        c[a] = w.matched[a] / s.noise;
    solve_lower<Complex>(w.normal, q, c.data());
    for (const Complex x : c)
        explained += std::norm(x);
    solve_upper<Complex>(w.normal, q, c.data());
    cost_ += w.energy / s.noise - explained + w.count * std::log(s.noise) + prior +
             log_determinant<Complex>(w.normal, q);
    lay_residual(b);
    if (curvature) add_curvature(b, state);
}

void PairFit::lay_residual(std::size_t b) {
    Work& w = work_[b];
    const std::size_t n = w.heard.re.size();
    const std::vector<Complex>& c = w.amplitude;
    w.residual = w.heard;
    for (std::size_t i = 0; i < 2; ++i) {
        if (!has(b, i)) continue;
        std::fill(w.product.re.begin(), w.product.re.end(), 0.0);
        std::fill(w.product.im.begin(), w.product.im.end(), 0.0);
        for (std::size_t j = 0; j < gains_; ++j) {
            const Complex gain = c[i * gains_ + j] * gain_terms_[j].cosine;
            const double* row = &w.rows.cosines()[gain_terms_[j].order * n];
            add_scaled(gain.real(), row, w.product.re.data(), n);
            add_scaled(gain.imag(), row, w.product.im.data(), n);
        }
        Series& fitted = w.fitted[i];
        for (std::size_t m = 0; m < n; ++m) {
            fitted.re[m] = w.product.re[m] * w.tone[i].re[m] - w.product.im[m] * w.tone[i].im[m];
            fitted.im[m] = w.product.re[m] * w.tone[i].im[m] + w.product.im[m] * w.tone[i].re[m];
            w.residual.re[m] -= fitted.re[m];
            w.residual.im[m] -= fitted.im[m];
        }
    }
}

void PairFit::add_curvature(std::size_t b, const PairState& state) {
    Work& w = work_[b];
    const std::size_t q = 2 * gains_;
    const double noise = state.bands[b].noise;
    std::fill(w.response.begin(), w.response.end(), 0.0);
    for (std::size_t i = 0; i < 2; ++i) {
        if (!has(b, i)) continue;
        const double k = kTurn * partial(b, i);
        conjugate_product(w.residual, w.fitted[i], w.product);
        im_.take(w.rows, w.product.im, path_ - 1, 0);
        for (std::size_t p = 0; p < path_; ++p)
            gradient_[i * path_ + p] += 2.0 * k * im_.sum(path_terms_[p]) / noise;
        for (std::size_t l = 0; l < 2; ++l) {
            if (!has(b, l)) continue;
            // Φᴴ∂(fitted): i·k·g_p·fitted_i against tone_l·gain_j.
            conjugate_product(w.tone[l], w.fitted[i], w.product);
            re_.take(w.rows, w.product.re, gains_ - 1, path_ - 1);
            im_.take(w.rows, w.product.im, gains_ - 1, path_ - 1);
            for (std::size_t j = 0; j < gains_; ++j)
                for (std::size_t p = 0; p < path_; ++p)
                    w.response[(i * path_ + p) * q + l * gains_ + j] =
                        Complex(-im_.sum(gain_terms_[j], path_terms_[p]),
                                re_.sum(gain_terms_[j], path_terms_[p])) *
                        (k / noise);
            if (l > i) continue;
            const double kl = kTurn * partial(b, l);
            conjugate_product(w.fitted[l], w.fitted[i], w.product);
            re_.take(w.rows, w.product.re, path_ - 1, path_ - 1);
            for (std::size_t p = 0; p < path_; ++p)
                for (std::size_t r = 0; r < (l == i ? p + 1 : path_); ++r)
                    hessian_[(i * path_ + p) * unknowns_ + l * path_ + r] +=
                        2.0 * k * kl / noise * re_.sum(path_terms_[p], path_terms_[r]);
        }
    }
    // What the amplitudes take up of it.
    for (std::size_t p = 0; p < unknowns_; ++p) {
        solve_lower<Complex>(w.normal, q, &w.response[p * q]);
        const auto* const rows = reinterpret_cast<const double*>(w.response.data());
        sum_rows(rows, p + 1, rows + 2 * p * q, 2 * q, taken_up_.data());
        for (std::size_t r = 0; r <= p; ++r)
            hessian_[p * unknowns_ + r] -= 2.0 * taken_up_[r];
    }
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

void PairFit::evaluate(const PairState& state, bool curvature, bool moved) {
    cost_ = 0.0;
    if (curvature) std::fill(hessian_.begin(), hessian_.end(), 0.0);
    std::fill(gradient_.begin(), gradient_.end(), 0.0);
    for (std::size_t b = 0; b < bands_.size(); ++b) {
        if (moved) {
            lay_tones(b, state);
            gather(b);
        }
        evaluate_band(b, state, curvature);
    }
    add_priors(state, curvature);
}

/// One round of expectation maximisation for levels, unrest, noise and wander (Dempster, Laird and
/// Rubin, J. R. Stat. Soc. B 39(1), 1977).
void PairFit::relevel(PairState& state) {
    const std::size_t q = 2 * gains_;
    std::array<double, 2> unrest{}, count{};
    std::vector<Complex>& inverse = inverse_;
    for (std::size_t b = 0; b < bands_.size(); ++b) {
        Work& w = work_[b];
        PairState::Band& s = state.bands[b];
        std::fill(inverse.begin(), inverse.end(), 0.0);
        for (std::size_t a = 0; a < q; ++a) {
            inverse[a * q + a] = 1.0;
            solve<Complex>(w.normal, q, &inverse[a], q);
        }
        double leftover = 0.0;
        for (std::size_t a = 0; a < q; ++a)
            for (std::size_t d = 0; d < q; ++d)
                leftover += (inverse[a * q + d] * w.gram[d * q + a]).real();
        const std::size_t n = w.heard.re.size();
        const double left = sum2(w.residual.re.data(), w.residual.re.data(), n) +
                            sum2(w.residual.im.data(), w.residual.im.data(), n);
        s.noise = std::max(bands_[b].floor,
                           bands_[b].whiteness * (left + leftover) / std::max(1.0, w.count));
        for (std::size_t i = 0; i < 2; ++i) {
            if (!has(b, i)) continue;
            const std::size_t at = i * gains_;
            s.level[i] = std::max(std::norm(w.amplitude[at]) + inverse[at * q + at].real(),
                                  1e-3 * bands_[b].floor / std::max(1.0, w.count));
            double sum = 0.0;
            for (std::size_t j = 1; j < gains_; ++j)
                sum += (std::norm(w.amplitude[at + j]) + inverse[(at + j) * q + at + j].real()) /
                       (share_[j] * s.level[i]);
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
