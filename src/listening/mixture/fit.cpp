#include "listening/mixture/fit.h"

#include "listening/arithmetic.h"
#include "listening/linear_rows.h"
#include "listening/linear_solve.h"
#include "listening/mixture/prior.h"
#include "listening/sample_sums.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

namespace rankwright::listening {

using namespace mixture_prior;

MixtureFit::MixtureFit(std::span<const MixtureBand> bands, const MixtureModel& model)
    : bands_(bands),
      model_(model),
      work_(bands.size()),
      used_(bands.size(), 1),
      bands_of_(model.pipes.size()) {
    for (std::size_t j = 0; j < gains(); ++j)
        unrest_share_.push_back(std::pow(std::max(1.0, static_cast<double>(j)), -kUnrestFall));
    tables_.reserve(bands.size());
    for (std::size_t b = 0; b < bands.size(); ++b) {
        tables_.emplace_back(bands[b], model.span_s, gains(), terms());
        for (const MixtureTone& tone : bands[b].tones)
            if (bands_of_[tone.pipe].empty() || bands_of_[tone.pipe].back() != b)
                bands_of_[tone.pipe].push_back(b);
    }
}

MixtureState MixtureFit::start() const {
    MixtureState state;
    const std::size_t pipes = model_.pipes.size();
    state.unknowns.assign(pipes * terms(), 0.0);
    for (std::size_t j = 0; j < pipes; ++j)
        state.unknowns[j * terms()] = model_.pipes[j].centre;
    state.present.assign(pipes, 0);
    state.wander.assign(pipes, kWander_cents);
    double loudest = 1e-12;
    for (const MixtureBand& band : bands_) {
        MixtureState::Band s;
        double power = 0.0;
        for (std::size_t i = 0; i < band.size(); ++i)
            power += band.re[i] * band.re[i] + band.im[i] * band.im[i];
        power /= static_cast<double>(band.size());
        loudest = std::max(loudest, power);
        s.tones.assign(band.tones.size(), {0.5 * power, kUnrest, 0.0});
        s.noise = band.floor + 1e-3 * power;
        state.bands.push_back(s);
    }
    state.level.assign(pipes, std::log(0.1 * loudest));
    state.loud = state.level;
    return state;
}

MixtureState MixtureFit::start_at(const MixtureState& found,
                                  std::span<const std::size_t> which) const {
    MixtureState state = start();
    for (std::size_t i = 0; i < which.size(); ++i) {
        state.present[i] = 1;
        state.unknowns[i * terms()] = found.unknowns[which[i]];
        state.level[i] = found.level[which[i]];
        state.loud[i] = found.loud[which[i]];
    }
    return state;
}

void MixtureFit::evaluate(std::size_t b, const MixtureState& state) {
    if (!laid(b, state)) {
        lay_tones(b, state);
        gather(b);
    }
    solve_band(b, state);
}

// Whether the band's tones stand as in `state` already; notes that they will.
bool MixtureFit::laid(std::size_t b, const MixtureState& state) {
    Work& w = work_[b];
    std::vector<std::size_t> active;
    std::vector<double> unknowns;
    for (std::size_t a = 0; a < bands_[b].tones.size(); ++a) {
        const std::size_t pipe = bands_[b].tones[a].pipe;
        if (!state.present[pipe]) continue;
        active.push_back(a);
        const double* x = &state.unknowns[pipe * terms()];
        unknowns.insert(unknowns.end(), x, x + terms());
    }
    if (!w.gram.empty() && active == w.active && unknowns == w.laid) return true;
    w.active = std::move(active);
    w.laid = std::move(unknowns);
    return false;
}

void MixtureFit::lay_tones(std::size_t b, const MixtureState& state) {
    const MixtureBand& band = bands_[b];
    Work& w = work_[b];
    const std::size_t n = band.size(), k = w.active.size();
    w.re.resize(k * n);
    w.im.resize(k * n);
    for (std::size_t a = 0; a < k; ++a) {
        const MixtureTone& tone = band.tones[w.active[a]];
        lay_path(b, tone.partial * model_.pipes[tone.pipe].nominal_hz,
                 &state.unknowns[tone.pipe * terms()], &w.re[a * n], &w.im[a * n]);
    }
}

void MixtureFit::lay_path(std::size_t b, double hz, const double* unknowns, double* re,
                          double* im) {
    const std::size_t n = bands_[b].size();
    turns_.resize(n);
    std::vector<double> beside(terms());
    for (std::size_t m = 0; m < terms(); ++m)
        beside[m] = hz * kCent * unknowns[m] + (m == 0 ? hz - bands_[b].centre_hz : 0.0);
    combine_rows(beside.data(), terms(), tables_[b].path(0).data(), n, turns_.data());
    lay_circle(turns_.data(), re, im, n);
}

// Sums of the tones with their gains against one another and against what is heard.
void MixtureFit::gather(std::size_t b) {
    const MixtureBand& band = bands_[b];
    const MixtureTable& t = tables_[b];
    Work& w = work_[b];
    const std::size_t n = band.size(), g = gains(), k = w.active.size(), q = k * g;
    w.gram.assign(q * q + 1, 0.0);
    w.matched.resize(q);
    product_.resize(n);
    for (std::size_t a = 0; a < k; ++a) {
        const double *re = &w.re[a * n], *im = &w.im[a * n];
        for (std::size_t c = 0; c <= a; ++c) {
            if (a != c) {
                conjugate_product(re, im, &w.re[c * n], &w.im[c * n], product_.re.data(),
                                  product_.im.data(), n);
                t.sum_for_gains(product_.re.data(), product_.im.data(), sums_);
            }
            for (std::size_t i = 0; i < g; ++i)
                for (std::size_t j = 0; j < g; ++j)
                    w.gram[(a * g + i) * q + c * g + j] =
                        a == c ? t.gains(i, j) : MixtureTable::gains(sums_, i, j);
        }
        conjugate_product(re, im, band.re.data(), band.im.data(), product_.re.data(),
                          product_.im.data(), n);
        weighted_sums(t.gain(0).data(), g, product_.re.data(), product_.im.data(), n,
                      &w.matched[a * g]);
    }
}

// The amplitudes and the cost, given levels and noise.
void MixtureFit::solve_band(std::size_t b, const MixtureState& state) {
    const MixtureState::Band& s = state.bands[b];
    Work& w = work_[b];
    const std::size_t g = gains(), k = w.active.size(), q = k * g;
    double cost =
        static_cast<double>(bands_[b].size()) * std::log(s.noise) + tables_[b].energy() / s.noise;
    w.factor.assign(w.gram.begin(), w.gram.end() - 1);
    for (Complex& x : w.factor)
        x /= s.noise;
    w.amplitude = w.matched;
    for (Complex& x : w.amplitude)
        x /= s.noise;
    for (std::size_t a = 0; a < k; ++a) {
        const MixtureState::Tone& tone = s.tones[w.active[a]];
        for (std::size_t j = 0; j < g; ++j) {
            const double v = variance(tone, j);
            w.factor[(a * g + j) * (q + 1)] += 1.0 / v;
            cost += std::log(v);
        }
    }
    if (!cholesky(w.factor, q)) {
        w.cost = kBrokenCost;
        return;
    }
    solve_lower<Complex>(w.factor, q, w.amplitude.data());
    for (const Complex& y : w.amplitude)
        cost -= std::norm(y);
    solve_upper<Complex>(w.factor, q, w.amplitude.data());
    w.cost = cost + log_determinant<Complex>(w.factor, q);
    w.noise = s.noise;
}

double MixtureFit::variance(const MixtureState::Tone& tone, std::size_t gain) const {
    return gain == 0 ? tone.power : tone.power * tone.unrest * unrest_share_[gain];
}

void MixtureFit::lay_fitted(std::size_t b, std::size_t a) {
    const MixtureTable& t = tables_[b];
    const Work& w = work_[b];
    const std::size_t n = bands_[b].size(), g = gains();
    fitted_.resize(n);
    lay_modulated(&w.re[a * n], &w.im[a * n], t.gain(0).data(), &w.amplitude[a * g], g,
                  fitted_.re.data(), fitted_.im.data(), n);
}

double MixtureFit::prior_cost(const MixtureState& state) const {
    double cost = 0.0;
    for (std::size_t j = 0; j < model_.pipes.size(); ++j) {
        if (!state.present[j]) continue;
        const MixtureModel::Pipe& pipe = model_.pipes[j];
        const double* x = &state.unknowns[j * terms()];
        const double u = (x[0] - pipe.centre) / pipe.sd;
        cost += (pipe.sure ? 0.5 * u * u : 2.0 * std::log1p(u * u / 3.0)) + std::log(pipe.sd);
        for (std::size_t m = 1; m < terms(); ++m) {
            const double sd = state.wander[j] * std::pow(static_cast<double>(m), -kWanderFall);
            cost += 0.5 * x[m] * x[m] / (sd * sd) + std::log(sd);
        }
    }
    for (std::size_t b = 0; b < bands_.size(); ++b)
        for (std::size_t a = 0; used_[b] && a < bands_[b].tones.size(); ++a) {
            const MixtureTone& tone = bands_[b].tones[a];
            if (!state.present[tone.pipe]) continue;
            const double expected = state.level[tone.pipe] - kTimbreFall * std::log(tone.partial);
            cost += level_cost(std::log(state.bands[b].tones[a].power) - expected);
        }
    return cost;
}

double MixtureFit::total(const MixtureState& state) const {
    double cost = 0.0;
    for (std::size_t b = 0; b < bands_.size(); ++b)
        if (used_[b]) cost += work_[b].cost;
    return model_.temper * cost + prior_cost(state);
}

double MixtureFit::cost(const MixtureState& state) {
    for (std::size_t b = 0; b < bands_.size(); ++b)
        if (used_[b]) evaluate(b, state);
    return total(state);
}

void MixtureFit::residual(std::size_t b, const MixtureState& state, std::vector<double>& re,
                          std::vector<double>& im) {
    evaluate(b, state);
    const std::size_t n = bands_[b].size();
    re = bands_[b].re;
    im = bands_[b].im;
    for (std::size_t a = 0; a < work_[b].active.size(); ++a) {
        lay_fitted(b, a);
        add_scaled(-1.0, fitted_.re.data(), re.data(), n);
        add_scaled(-1.0, fitted_.im.data(), im.data(), n);
    }
}

bool MixtureFit::share_bands(std::size_t pipe, std::size_t other) const {
    const auto bands = bands_of(pipe);
    return std::any_of(bands.begin(), bands.end(), [&](std::size_t band) {
        const auto others = bands_of(other);
        return std::find(others.begin(), others.end(), band) != others.end();
    });
}

}  // namespace rankwright::listening
