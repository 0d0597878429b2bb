#include "listening/pair/fit.h"

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
    curved_ = false;
    path_ = 1 + model.wander_terms;
    gains_ = 1 + model.gain_terms;
    unknowns_ = 2 * path_;
    share_.resize(gains_);
    for (std::size_t j = 0; j < gains_; ++j)
        share_[j] = j == 0 ? 1.0 : 1.0 / static_cast<double>(j * j);
    log_shares_ = 0.0;
    for (const double share : share_)
        log_shares_ += std::log(share);
    path_terms_.resize(path_);
    for (std::size_t j = 0; j < path_; ++j) {
        const SlowTerm term = path_term(j);
        path_terms_.set(j, term.cosine, term.slope);
    }
    gain_terms_.resize(gains_);
    for (std::size_t j = 0; j < gains_; ++j)
        gain_terms_.set(j, gain_term(j).cosine, 0.0);
    turns_.resize(path_);
    for (auto& gain : gain_)
        gain.resize(gains_);
    row_.resize(2 * std::max(path_, gains_));
    if (work_.size() < bands_.size()) work_.resize(bands_.size());
    hessian_.resize(unknowns_ * unknowns_);
    factor_.resize(unknowns_ * unknowns_);
    gradient_.resize(unknowns_);
    held_gradient_.resize(unknowns_);
    step_.resize(unknowns_);
    for (std::size_t b = 0; b < bands_.size(); ++b)
        lay_work(b);
}

void PairFit::lay_work(std::size_t b) {
    Work& w = work_[b];
    const PairBand& band = bands_[b];
    const std::size_t n = band.z.size();
    const std::size_t q = 2 * gains_;
    w.rows.lay(band.first_s / model_.span_s, 1.0 / (band.rate * model_.span_s), n,
               of_tones(true).front());
    w.mask.resize(n);
    for (SlowSeries* series : {&w.heard, &w.tone[0], &w.tone[1]})
        series->resize(n);
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
    w.matched.assign(q, 0.0);
    w.amplitude.resize(q);
    // What one without such a partial has there stays nought.
    w.response.assign(q, unknowns_);
    w.cross.clear();
    for (std::size_t i = 0; i < 2; ++i) {
        w.matches[i].clear();
        if (!has(b, i)) continue;
        product_.re = w.mask;
        product_.im.assign(n, 0.0);
        if (i == 1)
            std::fill_n(product_.re.begin(), static_cast<std::ptrdiff_t>(first_of_pipe(b)), 0.0);
        w.powers[i].clear();
        w.powers[i].take(w.rows, product_, of_tones(true));
        for (std::size_t j = 0; j < gains_; ++j) {
            w.powers[i].sums(gain_terms_[j], gain_terms_, gains_, row_.data(), nullptr);
            std::copy_n(
                row_.begin(), gains_,
                w.gram.begin() + static_cast<std::ptrdiff_t>((i * gains_ + j) * q + i * gains_));
        }
    }
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

void lay_conjugate_product(const SlowSeries& a, const SlowSeries& b, SlowSeries& out) {
    out.resize(a.re.size());
    conjugate_product(a.re.data(), a.im.data(), b.re.data(), b.im.data(), out.re.data(),
                      out.im.data(), a.re.size());
}

}  // namespace

void PairFit::lay_tones(std::size_t b, const PairState& state) {
    Work& w = work_[b];
    const std::size_t n = w.heard.re.size();
    std::vector<double>& cycles = cycles_;
    cycles.resize(n);
    for (std::size_t i = 0; i < 2; ++i) {
        if (!has(b, i)) continue;
        const double k = partial(b, i);
        const double at_hz = k * model_.nominal_hz[i] - bands_[b].line.centre_hz;
        double slope = at_hz * model_.span_s;
        for (std::size_t p = 0; p < path_; ++p) {
            const double turns = k * state.unknowns[i * path_ + p];
            slope += turns * path_terms_.slope[p];
            turns_[p] = turns * path_terms_.cosine[p];
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

/// The sums of the tones that were laid last, unless they are there already.
void PairFit::gather(std::size_t b, bool curvature) {
    Work& w = work_[b];
    for (std::size_t i = 0; i < 2; ++i) {
        if (!has(b, i) || w.matches[i].orders() >= of_sound(curvature)) continue;
        lay_conjugate_product(w.tone[i], w.heard, product_);
        w.matches[i].take(w.rows, product_, of_sound(curvature));
    }
    if (!has(b, 0) || !has(b, 1) || w.cross.orders() >= of_tones(curvature)) return;
    lay_conjugate_product(w.tone[1], w.tone[0], product_);
    w.cross.take(w.rows, product_, of_tones(curvature));
}

void PairFit::lay_matrix(std::size_t b) {
    Work& w = work_[b];
    const std::size_t q = 2 * gains_;
    for (std::size_t i = 0; i < 2; ++i)
        for (std::size_t j = 0; has(b, i) && j < gains_; ++j)
            w.matched[i * gains_ + j] = w.matches[i].sum(gain_terms_[j]);
    if (!has(b, 0) || !has(b, 1)) return;
    for (std::size_t j = 0; j < gains_; ++j) {
        w.cross.sums(gain_terms_[j], gain_terms_, gains_, row_.data(), &row_[gains_]);
        for (std::size_t l = 0; l < gains_; ++l) {
            const Complex cross{row_[l], row_[gains_ + l]};
            w.gram[(gains_ + j) * q + l] = cross;
            w.gram[l * q + gains_ + j] = std::conj(cross);
        }
    }
}

void PairFit::evaluate_band(std::size_t b, const PairState& state, bool curvature) {
    Work& w = work_[b];
    const PairState::Band& s = state.bands[b];
    const std::size_t q = 2 * gains_;
    double prior = 0.0;  // ln det Λ
    const double weight = 1.0 / s.noise;
    for (std::size_t row = 0; row < q; ++row)
        for (std::size_t i = row * q; i <= row * (q + 1); ++i)
            w.normal[i] = weight * w.gram[i];
    for (std::size_t i = 0; i < 2; ++i) {
        for (std::size_t j = 0; j < gains_; ++j)
            w.normal[(i * gains_ + j) * (q + 1)] += 1.0 / spread(b, s, i, j);
        if (!has(b, i)) continue;
        const auto terms = static_cast<double>(gains_);
        prior += terms * std::log(s.level[i]) + 2.0 * (terms - 1.0) * std::log(s.unrest[i]) +
                 log_shares_;
    }
    cholesky(w.normal, q, room_);
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
    // |z − Φc|², as Ac = Φᴴz/σ².
    w.left = w.energy;
    for (std::size_t i = 0; i < 2; ++i)
        for (std::size_t j = 0; j < gains_; ++j) {
            const std::size_t at = i * gains_ + j;
            w.left -= (std::conj(c[at]) * w.matched[at]).real() +
                      s.noise * std::norm(c[at]) / spread(b, s, i, j);
        }
    if (curvature) add_curvature(b, state);
}

/// Of −ln of likelihood by one's path: the residual against what is fitted.
void PairFit::add_gradient(std::size_t b, std::size_t i, double factor) {
    Work& w = work_[b];
    heard_.take_product(w.matches[i], gain_[i], true);
    const SlowTerm all{0, 1.0, 0.0};
    double* const heard = row_.data();
    double* const crossed = heard + path_;
    std::fill(row_.begin(), row_.end(), 0.0);
    heard_.sums(all, path_terms_, path_, nullptr, heard);
    if (has(b, 0) && has(b, 1)) crossed_.sums(all, path_terms_, path_, nullptr, crossed);
    const double sign = i == 0 ? -1.0 : 1.0;
    for (std::size_t p = 0; p < path_; ++p)
        gradient_[i * path_ + p] += factor * (sign * crossed[p] - heard[p]);
}

/// `fitted`: moments of conj(fitted l)·fitted i.
void PairFit::add_hessian(std::size_t i, std::size_t l, double factor, const SlowMoments& fitted) {
    for (std::size_t p = 0; p < path_; ++p) {
        const std::size_t count = l == i ? p + 1 : path_;
        fitted.sums(path_terms_[p], path_terms_, count, row_.data(), nullptr);
        double* const to = &hessian_[(i * path_ + p) * unknowns_ + l * path_];
        for (std::size_t r = 0; r < count; ++r)
            to[r] += factor * row_[r];
    }
}

// All of it by the moments of the tones: what is fitted is a tone times a few cosines.
void PairFit::add_curvature(std::size_t b, const PairState& state) {
    Work& w = work_[b];
    const double noise = state.bands[b].noise;
    for (std::size_t i = 0; i < 2; ++i)
        for (std::size_t j = 0; j < gains_; ++j)
            gain_[i][j] = w.amplitude[i * gains_ + j] * gain_terms_.cosine[j];
    const auto respond = [&](std::size_t i, std::size_t l, const SlowMoments& moments) {
        // Φᴴ∂(fitted): i·k·g_p·fitted_i against tone_l·gain_j.
        const double factor = kTurn * partial(b, i) / noise;
        for (std::size_t j = 0; j < gains_; ++j) {
            const std::size_t at = (l * gains_ + j) * w.response.width + i * path_;
            double *const re = &w.response.re[at], *const im = &w.response.im[at];
            moments.sums(gain_terms_[j], path_terms_, path_, im, re);
            for (std::size_t p = 0; p < path_; ++p) {
                re[p] *= -factor;
                im[p] *= factor;
            }
        }
    };
    const double k[2] = {kTurn * partial(b, 0), kTurn * partial(b, 1)};
    if (has(b, 0) && has(b, 1)) {
        by_tone_.take_product(w.cross, gain_[0], false);
        respond(0, 1, by_tone_);
        crossed_.take_product(by_tone_, gain_[1], true);
        add_hessian(1, 0, 2.0 * k[0] * k[1] / noise, crossed_);
        by_tone_.take_product(w.cross, gain_[1], true);
        by_tone_.conjugate();
        respond(1, 0, by_tone_);
    }
    for (std::size_t i = 0; i < 2; ++i) {
        if (!has(b, i)) continue;
        by_tone_.take_product(w.powers[i], gain_[i], false);
        respond(i, i, by_tone_);
        fitted_.take_product(by_tone_, gain_[i], true);
        add_hessian(i, i, 2.0 * k[i] * k[i] / noise, fitted_);
        add_gradient(b, i, 2.0 * k[i] / noise);
    }
    // What the amplitudes take up of it.
    solve_lower(w.normal.data(), w.response);
    products_of(w.response, taken_up_);
    for (std::size_t p = 0; p < unknowns_; ++p)
        for (std::size_t r = 0; r <= p; ++r)
            hessian_[p * unknowns_ + r] -= 2.0 * taken_up_[p * w.response.width + r];
}

void PairFit::evaluate(const PairState& state, bool curvature, bool moved) {
    cost_ = 0.0;
    curved_ = curvature;
    if (curvature) evaluated_ = state.unknowns;
    if (curvature) std::fill(hessian_.begin(), hessian_.end(), 0.0);
    std::fill(gradient_.begin(), gradient_.end(), 0.0);
    for (std::size_t b = 0; b < bands_.size(); ++b) {
        if (moved) {
            lay_tones(b, state);
            for (SlowMoments* sums : {&work_[b].matches[0], &work_[b].matches[1], &work_[b].cross})
                sums->clear();
        }
        gather(b, curvature);
        if (moved) lay_matrix(b);
        evaluate_band(b, state, curvature);
    }
    add_priors(state, curvature);
}

}  // namespace rankwright::listening
