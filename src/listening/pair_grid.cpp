#include "listening/pair_grid.h"

#include "listening/arithmetic.h"
#include "listening/wide_registers.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <numbers>
#include <utility>

namespace rankwright::listening {

namespace {

using Complex = std::complex<double>;
constexpr double kGridUnsteady = 0.02;  // wander and unrest, as noise
constexpr double kGridUnrest = 0.1;     // of the slope, beside the amplitude

/// What is explained by the pipe beside the reference, for places side by side.
struct Beside {
    const double *whole_re, *whole_im, *slope_re, *slope_im;  // the pipe's
    const double *a_re, *a_im, *b_re, *b_im, *c_re, *c_im, *d_re, *d_im;
    const double *over_whole, *over_slope, *cross_re, *cross_im, *determinant;
};

RANKWRIGHT_WIDE void add_beside(const Beside& at, Complex whole, Complex slope, double explained,
                                double* __restrict to, std::size_t n) {
    const double x = whole.real(), y = whole.imag(), v = slope.real(), w = slope.imag();
    for (std::size_t i = 0; i < n; ++i) {
        const double p =
            at.whole_re[i] - (at.a_re[i] * x - at.a_im[i] * y) - (at.b_re[i] * v - at.b_im[i] * w);
        const double q =
            at.whole_im[i] - (at.a_re[i] * y + at.a_im[i] * x) - (at.b_re[i] * w + at.b_im[i] * v);
        const double r =
            at.slope_re[i] - (at.c_re[i] * x - at.c_im[i] * y) - (at.d_re[i] * v - at.d_im[i] * w);
        const double s =
            at.slope_im[i] - (at.c_re[i] * y + at.c_im[i] * x) - (at.d_re[i] * w + at.d_im[i] * v);
        const double left_re = at.over_slope[i] * r - (at.cross_re[i] * p - at.cross_im[i] * q);
        const double left_im = at.over_slope[i] * s - (at.cross_re[i] * q + at.cross_im[i] * p);
        to[i] += at.over_whole[i] * at.over_whole[i] * (p * p + q * q) +
                 (left_re * left_re + left_im * left_im) - at.determinant[i] + explained;
    }
}

/// Series of sound, real and imaginary parts, of slopes, and of a phasor that is turned on from one
/// place to the next.
struct TurningSeries {
    const double *re, *im, *slope, *turn_re, *turn_im;
    double *at_re, *at_im;
};

/// Of conj(phasor)·sound, the same by the slope, and of the phasor by the slope's powers 0 to 2,
/// real and imaginary parts. Turns the phasor. `n`: whole registers.
RANKWRIGHT_WIDE void sum_turning(const TurningSeries& series, std::size_t n, double* sums) {
    FourDoubles sum[10]{}, x, y, c, s, a, b, slope;
    for (std::size_t m = 0; m < n; m += 4) {
        load(x, series.re + m);
        load(y, series.im + m);
        load(slope, series.slope + m);
        load(c, series.at_re + m);
        load(s, series.at_im + m);
        load(a, series.turn_re + m);
        load(b, series.turn_im + m);
        const FourDoubles re = c * x + s * y, im = c * y - s * x;
        const FourDoubles aslant_re = slope * c, aslant_im = slope * s;
        sum[0] += re;
        sum[1] += im;
        sum[2] += slope * re;
        sum[3] += slope * im;
        sum[4] += c;
        sum[5] += s;
        sum[6] += aslant_re;
        sum[7] += aslant_im;
        sum[8] += slope * aslant_re;
        sum[9] += slope * aslant_im;
        const FourDoubles on_re = c * a - s * b, on_im = c * b + s * a;
        std::memcpy(series.at_re + m, &on_re, sizeof on_re);
        std::memcpy(series.at_im + m, &on_im, sizeof on_im);
    }
    for (std::size_t k = 0; k < 10; ++k)
        sums[k] = (sum[k][0] + sum[k][1]) + (sum[k][2] + sum[k][3]);
}

/// The same with its room; what fills up the last register is nought.
class Turning {
  public:
    explicit Turning(std::size_t samples) : width_((samples + 3) / 4 * 4), all_(7 * width_) {}
    void lay(std::size_t m, Complex sound, double slope, Complex turn) {
        const double values[7] = {sound.real(), sound.imag(), slope, turn.real(),
                                  turn.imag(),  1.0,          0.0};
        for (std::size_t k = 0; k < 7; ++k)
            all_[k * width_ + m] = values[k];
    }
    void sum(double* sums) {
        double* const x = all_.data();
        sum_turning({x, x + width_, x + 2 * width_, x + 3 * width_, x + 4 * width_, x + 5 * width_,
                     x + 6 * width_},
                    width_, sums);
    }

  private:
    std::size_t width_;
    std::vector<double> all_;
};

}  // namespace

PairGrid::PairGrid(std::span<const PairBand> bands, std::span<const double> turns, double step,
                   int around, int reach)
    : around_(around), reach_(reach) {
    for (std::size_t b = 0; b < bands.size(); ++b)
        lay_band(bands[b], turns[b] * step);
}

void PairGrid::lay_band(const PairBand& band, double step_hz) {
    const auto samples = static_cast<double>(band.z.size());
    double power = 0.0;
    for (const Complex z : band.z)
        power += std::norm(z);
    power /= samples;
    const double noise = band.floor + kGridUnsteady * kGridUnsteady * power;
    const auto places = static_cast<std::size_t>(2 * reach_ + 1);
    std::vector<Complex> tone[2];     // Σ ψ_j z e^{−2πift}, f from −reach to reach
    std::vector<Complex> overlap[3];  // Σ ψ_jψ_l e^{2πift}, f from 0 to 2·reach
    for (auto& sums : tone)
        sums.resize(places);
    for (auto& sums : overlap)
        sums.resize(places);
    Turning turning(band.z.size());
    for (std::size_t m = 0; m < band.z.size(); ++m) {
        const double t = band.first_s + static_cast<double>(m) / band.rate;
        const double turns = step_hz * t;
        turning.lay(m, band.z[m] * std::polar(1.0, kTurn * turns * reach_),
                    std::numbers::sqrt3 * 2.0 * t * band.rate / samples,
                    std::polar(1.0, kTurn * turns));
    }
    for (std::size_t g = 0; g < places; ++g) {
        double sums[10];
        turning.sum(sums);
        for (std::size_t j = 0; j < 2; ++j)
            tone[j][g] = {sums[2 * j], sums[2 * j + 1]};
        for (std::size_t j = 0; j < 3; ++j)
            overlap[j][g] = {sums[4 + 2 * j], sums[5 + 2 * j]};
    }

    // The matrix of one tone, and its factor.
    const double steady = overlap[0][0].real() / noise + 1.0 / power;
    const double aslant = overlap[1][0].real() / noise;
    const double sloping = overlap[2][0].real() / noise + 1.0 / (power * kGridUnrest * kGridUnrest);
    double factor[3] = {std::sqrt(steady), 0.0, 0.0};
    factor[1] = aslant / factor[0];
    factor[2] = std::sqrt(sloping - factor[1] * factor[1]);

    Sums sums;
    sums.reference = band.line.reference_partial > 0;
    sums.pipe = band.line.pipe_partial > 0;
    sums.power.resize(places);
    sums.explained.resize(places);
    sums.whole.resize(places);
    sums.slope.resize(places);
    const double determinant = 2.0 * (std::log(factor[0]) + std::log(factor[2]));
    for (std::size_t g = 0; g < places; ++g) {
        sums.power[g] = std::norm(tone[0][g]) / (noise * samples);
        const Complex whole = tone[0][g] / (noise * factor[0]);
        const Complex slope = (tone[1][g] / noise - factor[1] * whole) / factor[2];
        sums.whole.set(g, whole);
        sums.slope.set(g, slope);
        sums.explained[g] = std::norm(whole) + std::norm(slope) - determinant;
    }
    if (sums.reference && sums.pipe) {
        for (auto& each : overlap)
            for (Complex& x : each)
                x /= noise;
        lay_apart(sums, overlap, factor);
    }
    sums_.push_back(std::move(sums));
}

void PairGrid::lay_apart(Sums& sums, const std::vector<Complex> (&overlap)[3],
                         const double (&factor)[3]) const {
    const int most = around_ + reach_;
    const auto count = static_cast<std::size_t>(2 * most + 1);
    for (Parts* parts : {&sums.of_whole[0], &sums.of_whole[1], &sums.of_slope[0], &sums.of_slope[1],
                         &sums.over_cross})
        parts->resize(count);
    for (std::vector<double>* row : {&sums.over_whole, &sums.over_slope, &sums.determinant})
        row->resize(count);
    const double own = std::log(factor[0]) + std::log(factor[2]);
    for (std::size_t i = 0; i < count; ++i) {
        // conj(pipe)·reference, by the factor of each from its side.
        const int apart = most - static_cast<int>(i);
        Complex cross[3];
        for (std::size_t j = 0; j < 3; ++j) {
            cross[j] = overlap[j][static_cast<std::size_t>(std::abs(apart))];
            if (apart < 0) cross[j] = std::conj(cross[j]);
        }
        Complex w[2][2] = {{cross[0] / factor[0], cross[1] / factor[0]}, {}};
        for (std::size_t l = 0; l < 2; ++l)
            w[1][l] = (cross[1 + l] - factor[1] * w[0][l]) / factor[2];
        for (auto& row : w) {
            row[0] /= factor[0];
            row[1] = (row[1] - factor[1] * row[0]) / factor[2];
        }
        // The factor of 1 − w·wᴴ.
        const double whole = 1.0 - std::norm(w[0][0]) - std::norm(w[0][1]);
        const Complex between =
            -(w[1][0] * std::conj(w[0][0]) + w[1][1] * std::conj(w[0][1])) / std::sqrt(whole);
        const double slope = 1.0 - std::norm(w[1][0]) - std::norm(w[1][1]) - std::norm(between);
        sums.of_whole[0].set(i, w[0][0]);
        sums.of_whole[1].set(i, w[0][1]);
        sums.of_slope[0].set(i, w[1][0]);
        sums.of_slope[1].set(i, w[1][1]);
        // Two in one place that rounding lets nobody tell apart: the pipe explains nothing more.
        const bool distinct = whole > 0.0 && slope > 0.0;
        sums.over_whole[i] = distinct ? 1.0 / std::sqrt(whole) : 0.0;
        sums.over_slope[i] = distinct ? 1.0 / std::sqrt(slope) : 0.0;
        sums.over_cross.set(i, distinct ? between * sums.over_whole[i] * sums.over_slope[i] : 0.0);
        sums.determinant[i] = 2.0 * own + (distinct ? std::log(whole) + std::log(slope) : 0.0);
    }
}

/// Adds what one band says of the reference at one place with the pipe at each from `first_pipe`.
void PairGrid::add(const Sums& sums, int reference, int first_pipe, std::span<double> to) const {
    const auto tone = static_cast<std::size_t>(reference + reach_);
    const auto pipe = static_cast<std::size_t>(first_pipe + reach_);
    if (!sums.pipe || !sums.reference) {
        for (std::size_t i = 0; i < to.size(); ++i)
            to[i] += sums.explained[sums.pipe ? pipe + i : tone];
        return;
    }
    const auto apart = static_cast<std::size_t>(first_pipe - reference + around_ + reach_);
    const auto at = [](const std::vector<double>& all, std::size_t from) { return &all[from]; };
    const Beside beside{at(sums.whole.re, pipe),        at(sums.whole.im, pipe),
                        at(sums.slope.re, pipe),        at(sums.slope.im, pipe),
                        at(sums.of_whole[0].re, apart), at(sums.of_whole[0].im, apart),
                        at(sums.of_whole[1].re, apart), at(sums.of_whole[1].im, apart),
                        at(sums.of_slope[0].re, apart), at(sums.of_slope[0].im, apart),
                        at(sums.of_slope[1].re, apart), at(sums.of_slope[1].im, apart),
                        at(sums.over_whole, apart),     at(sums.over_slope, apart),
                        at(sums.over_cross.re, apart),  at(sums.over_cross.im, apart),
                        at(sums.determinant, apart)};
    add_beside(beside, {sums.whole.re[tone], sums.whole.im[tone]},
               {sums.slope.re[tone], sums.slope.im[tone]}, sums.explained[tone], to.data(),
               to.size());
}

double PairGrid::evidence(int reference, int pipe) const {
    double sum = 0.0;
    for (const Sums& sums : sums_)
        add(sums, reference, pipe, {&sum, 1});
    return sum;
}

void PairGrid::lay_evidence(int reference, std::span<double> row) const {
    std::fill(row.begin(), row.end(), 0.0);
    for (const Sums& sums : sums_)
        add(sums, reference, -reach_, row);
}

double PairGrid::alone(bool pipe, int at) const {
    double sum = 0.0;
    for (const Sums& sums : sums_)
        if (pipe ? sums.pipe : sums.reference)
            sum += sums.power[static_cast<std::size_t>(at + reach_)];
    return sum;
}

}  // namespace rankwright::listening
