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
    turns_.resize(path_);
    gain_terms_.resize(gains_);
    gain_.resize(gains_);
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
        double slope = at_hz * model_.span_s;
        for (std::size_t p = 0; p < path_; ++p) {
            const double turns = k * state.unknowns[i * path_ + p];
            slope += turns * path_terms_[p].slope;
            turns_[p] = turns * path_terms_[p].cosine;
        }
        combine_rows(turns_.data(), path_, w.rows.cosines().data(), n, cycles.data());
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
    w.residual = w.heard;
    for (std::size_t i = 0; i < 2; ++i) {
        if (!has(b, i)) continue;
        for (std::size_t j = 0; j < gains_; ++j)
            gain_[j] = w.amplitude[i * gains_ + j] * gain_terms_[j].cosine;
        Series& fitted = w.fitted[i];
        lay_modulated(w.tone[i].re.data(), w.tone[i].im.data(), w.rows.cosines().data(),
                      gain_.data(), gains_, fitted.re.data(), fitted.im.data(), n);
        add_scaled(-1.0, fitted.re.data(), w.residual.re.data(), n);
        add_scaled(-1.0, fitted.im.data(), w.residual.im.data(), n);
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

}  // namespace rankwright::listening
