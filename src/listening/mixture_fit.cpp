#include "listening/mixture_fit.h"

#include "listening/arithmetic.h"
#include "listening/linear_solve.h"
#include "listening/mixture_prior.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <numbers>

namespace rankwright::listening {

using namespace mixture_prior;

namespace {}  // namespace

MixtureFit::MixtureFit(std::span<const MixtureBand> bands, const MixtureModel& model)
    : bands_(bands),
      model_(model),
      tables_(bands.size()),
      work_(bands.size()),
      used_(bands.size(), 1),
      bands_of_(model.pipes.size()) {
    const std::size_t g = model.gain_terms + 1;
    const double span = model.span_s;
    for (std::size_t b = 0; b < bands.size(); ++b) {
        Table& t = tables_[b];
        const std::size_t n = bands[b].size();
        t.path.resize(terms() * n);
        t.gain.resize(g * n);
        for (std::size_t i = 0; i < n; ++i) {
            const double at = bands[b].first_s + static_cast<double>(i) / bands[b].rate;
            const double u = std::numbers::pi * (at / span + 0.5);
            t.path[i] = at;
            for (std::size_t m = 1; m < terms(); ++m)
                t.path[m * n + i] = std::numbers::sqrt2 * span /
                                    (std::numbers::pi * static_cast<double>(m)) *
                                    std::sin(static_cast<double>(m) * u);
            t.gain[i] = 1.0;
            for (std::size_t m = 1; m < g; ++m)
                t.gain[m * n + i] = std::numbers::sqrt2 * std::cos(static_cast<double>(m) * u);
        }
        for (std::size_t i = 0; i < g; ++i)
            for (std::size_t j = 0; j <= i; ++j) {
                double sum = 0.0;
                for (std::size_t s = 0; s < n; ++s) {
                    t.product.push_back(t.gain[i * n + s] * t.gain[j * n + s]);
                    sum += t.product.back();
                }
                t.mean.push_back(sum);
            }
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
    return state;
}

void MixtureFit::evaluate(std::size_t b, const MixtureState& state) {
    const MixtureBand& band = bands_[b];
    const MixtureState::Band& s = state.bands[b];
    const Table& t = tables_[b];
    Work& w = work_[b];
    const std::size_t n = band.size(), g = model_.gain_terms + 1;
    w.active.clear();
    for (std::size_t a = 0; a < band.tones.size(); ++a)
        if (state.present[band.tones[a].pipe]) w.active.push_back(a);
    const std::size_t k = w.active.size(), q = k * g;
    w.re.resize(k * n);
    w.im.resize(k * n);
    for (std::size_t a = 0; a < k; ++a) {
        const MixtureTone& tone = band.tones[w.active[a]];
        const double hz = tone.partial * model_.pipes[tone.pipe].nominal_hz;
        const double* x = &state.unknowns[tone.pipe * terms()];
        if (terms() == 1) {  // a steady tone
            const double f = hz * (1.0 + kCent * x[0]) - band.centre_hz;
            const double from = kTurn * f * t.path[0], each = kTurn * f / band.rate;
            double re = std::cos(from), im = std::sin(from);
            const double turn_re = std::cos(each), turn_im = std::sin(each);
            for (std::size_t i = 0; i < n; ++i) {
                w.re[a * n + i] = re;
                w.im[a * n + i] = im;
                const double next = re * turn_re - im * turn_im;
                im = re * turn_im + im * turn_re;
                re = next;
            }
            continue;
        }
        for (std::size_t i = 0; i < n; ++i) {
            double path = 0.0;
            for (std::size_t m = 0; m < terms(); ++m)
                path += x[m] * t.path[m * n + i];
            const double turns = (hz - band.centre_hz) * t.path[i] + hz * kCent * path;
            w.re[a * n + i] = std::cos(kTurn * turns);
            w.im[a * n + i] = std::sin(kTurn * turns);
        }
    }
    w.gram.assign(q * q, 0.0);
    std::vector<double> dre(n), dim(n);
    for (std::size_t a = 0; a < k; ++a)
        for (std::size_t c = 0; c <= a; ++c) {
            if (a != c)
                for (std::size_t i = 0; i < n; ++i) {  // conj(a)·c
                    dre[i] = w.re[a * n + i] * w.re[c * n + i] + w.im[a * n + i] * w.im[c * n + i];
                    dim[i] = w.re[a * n + i] * w.im[c * n + i] - w.im[a * n + i] * w.re[c * n + i];
                }
            for (std::size_t i = 0, p = 0; i < g; ++i)
                for (std::size_t j = 0; j <= i; ++j, ++p) {
                    Complex sum = t.mean[p];
                    if (a != c) {
                        double re = 0.0, im = 0.0;
                        const double* f = &t.product[p * n];
                        for (std::size_t l = 0; l < n; ++l) {
                            re += f[l] * dre[l];
                            im += f[l] * dim[l];
                        }
                        sum = {re, im};
                    }
                    w.gram[(a * g + i) * q + c * g + j] = sum;
                    w.gram[(a * g + j) * q + c * g + i] = sum;
                }
        }
    w.factor = w.gram;
    w.amplitude.assign(q, 0.0);
    double cost = static_cast<double>(n) * std::log(s.noise), square = 0.0;
    for (std::size_t i = 0; i < n; ++i)
        square += band.re[i] * band.re[i] + band.im[i] * band.im[i];
    cost += square / s.noise;
    for (Complex& x : w.factor)
        x /= s.noise;
    for (std::size_t a = 0; a < k; ++a) {
        const MixtureState::Tone& tone = s.tones[w.active[a]];
        for (std::size_t j = 0; j < g; ++j) {
            double variance = tone.power;
            if (j > 0) variance *= tone.unrest * std::pow(static_cast<double>(j), -kUnrestFall);
            w.factor[(a * g + j) * (q + 1)] += 1.0 / variance;
            cost += std::log(variance);
            double re = 0.0, im = 0.0;
            for (std::size_t i = 0; i < n; ++i) {
                const double gain = t.gain[j * n + i];
                re += gain * (w.re[a * n + i] * band.re[i] + w.im[a * n + i] * band.im[i]);
                im += gain * (w.re[a * n + i] * band.im[i] - w.im[a * n + i] * band.re[i]);
            }
            w.amplitude[a * g + j] = Complex{re, im} / s.noise;
        }
    }
    const bool ok = cholesky<Complex>(w.factor, q);
    if (!ok) {
        w.cost = kBrokenCost;
        return;
    }
    solve_lower<Complex>(w.factor, q, w.amplitude.data());
    for (const Complex& y : w.amplitude)
        cost -= std::norm(y);
    solve_upper<Complex>(w.factor, q, w.amplitude.data());
    cost += log_determinant<Complex>(w.factor, q);
    w.cost = cost;
    w.noise = s.noise;
}

double MixtureFit::prior_cost(const MixtureState& state) const {
    double cost = 0.0;
    for (std::size_t j = 0; j < model_.pipes.size(); ++j) {
        if (!state.present[j]) continue;
        const MixtureModel::Pipe& pipe = model_.pipes[j];
        const double* x = &state.unknowns[j * terms()];
        const double u = (x[0] - pipe.centre) / pipe.sd;
        cost += 2.0 * std::log1p(u * u / 3.0) + std::log(pipe.sd);
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
    const std::size_t n = bands_[b].size(), g = model_.gain_terms + 1;
    const Work& w = work_[b];
    const Table& t = tables_[b];
    re = bands_[b].re;
    im = bands_[b].im;
    for (std::size_t a = 0; a < w.active.size(); ++a)
        for (std::size_t i = 0; i < n; ++i) {
            Complex gain = 0.0;
            for (std::size_t j = 0; j < g; ++j)
                gain += w.amplitude[a * g + j] * t.gain[j * n + i];
            re[i] -= gain.real() * w.re[a * n + i] - gain.imag() * w.im[a * n + i];
            im[i] -= gain.real() * w.im[a * n + i] + gain.imag() * w.re[a * n + i];
        }
}

void MixtureFit::hear_remainder(std::size_t b, const MixtureState& state) {
    residual(b, state, work_[b].rest_re, work_[b].rest_im);
}

MixtureExtraTone MixtureFit::extra_tone(std::size_t b, double hz) const {
    const MixtureBand& band = bands_[b];
    const Table& t = tables_[b];
    const Work& w = work_[b];
    const std::size_t n = band.size(), g = model_.gain_terms + 1, k = w.active.size(), q = k * g;
    std::vector<double> cosine(n), sine(n);
    Complex met = 0.0;
    const double f = hz - band.centre_hz;
    Complex tone = std::polar(1.0, kTurn * f * t.path[0]);
    const Complex turn = std::polar(1.0, kTurn * f / band.rate);
    for (std::size_t i = 0; i < n; ++i) {
        cosine[i] = tone.real();
        sine[i] = tone.imag();
        met += Complex{cosine[i] * w.rest_re[i] + sine[i] * w.rest_im[i],
                       cosine[i] * w.rest_im[i] - sine[i] * w.rest_re[i]};
        tone = {tone.real() * turn.real() - tone.imag() * turn.imag(),
                tone.real() * turn.imag() + tone.imag() * turn.real()};
    }
    double information = static_cast<double>(n) / w.noise;
    if (q > 0 && w.cost < kBrokenCost) {
        std::vector<Complex> shadow(q);
        for (std::size_t a = 0; a < k; ++a)
            for (std::size_t j = 0; j < g; ++j) {
                double re = 0.0, im = 0.0;
                for (std::size_t i = 0; i < n; ++i) {
                    const double gain = t.gain[j * n + i];
                    re += gain * (w.re[a * n + i] * cosine[i] + w.im[a * n + i] * sine[i]);
                    im += gain * (w.re[a * n + i] * sine[i] - w.im[a * n + i] * cosine[i]);
                }
                shadow[a * g + j] = Complex{re, im} / w.noise;
            }
        solve_lower<Complex>(w.factor, q, shadow.data());
        for (const Complex& x : shadow)
            information -= std::norm(x);
    }
    information = std::max(information, 1e-9 / w.noise);
    return {std::norm(met / w.noise / information), 1.0 / information};
}

bool MixtureFit::share_bands(std::size_t pipe, std::size_t other) const {
    const auto bands = bands_of(pipe);
    return std::any_of(bands.begin(), bands.end(), [&](std::size_t band) {
        const auto others = bands_of(other);
        return std::find(others.begin(), others.end(), band) != others.end();
    });
}

}  // namespace rankwright::listening
