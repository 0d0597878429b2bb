#include "listening/pair/grid.h"

#include "listening/arithmetic.h"
#include "listening/wide_registers.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstdlib>
#include <numbers>
#include <utility>

namespace rankwright::listening {

namespace {

using Complex = std::complex<double>;
constexpr double kGridUnsteady = 0.02;  // wander and unrest, as noise
constexpr double kGridUnrest = 0.1;     // of the slope, beside the amplitude

/// Series of what lies so far either way from the middle of a band: its sum and difference, both by
/// the slope there, that slope and its square, and a phasor that is turned on from one place to the
/// next.
struct TurningSeries {
    const double *sum_re, *sum_im, *apart_re, *apart_im;
    const double *aslant_sum_re, *aslant_sum_im, *aslant_apart_re, *aslant_apart_im;
    const double *slope, *square, *turn_re, *turn_im;
    double *at_re, *at_im;
};
constexpr std::size_t kTurningRows = 14;

/// Of conj(phasor)·sound, and of that by the slope, real and imaginary parts; of the phasor's real
/// part, of its imaginary part by the slope, and of its real part by the slope's square. Turns the
/// phasor. `n`: whole registers.
RANKWRIGHT_WIDE void sum_turning(const TurningSeries& series, std::size_t n, double (&sums)[7]) {
    FourDoubles sum[7]{}, x, y, c, s;
    for (std::size_t m = 0; m < n; m += 4) {
        load(c, series.at_re + m);
        load(s, series.at_im + m);
        load(x, series.sum_re + m);
        load(y, series.apart_im + m);
        sum[0] += c * x + s * y;
        load(x, series.sum_im + m);
        load(y, series.apart_re + m);
        sum[1] += c * x - s * y;
        load(x, series.aslant_apart_re + m);
        load(y, series.aslant_sum_im + m);
        sum[2] += c * x + s * y;
        load(x, series.aslant_apart_im + m);
        load(y, series.aslant_sum_re + m);
        sum[3] += c * x - s * y;
        load(x, series.slope + m);
        load(y, series.square + m);
        sum[4] += c;
        sum[5] += s * x;
        sum[6] += c * y;
        load(x, series.turn_re + m);
        load(y, series.turn_im + m);
        const FourDoubles on_re = c * x - s * y, on_im = c * y + s * x;
        std::memcpy(series.at_re + m, &on_re, sizeof on_re);
        std::memcpy(series.at_im + m, &on_im, sizeof on_im);
    }
    for (std::size_t k = 0; k < 7; ++k)
        sums[k] = (sum[k][0] + sum[k][1]) + (sum[k][2] + sum[k][3]);
}

/// A band's sums with a tone that turns on from one place to the next. Time and slope count from
/// the band's middle: what lies before it has the conjugate phasor and the other slope.
class Turning {
  public:
    /// `step`: of the tones, cycles a sample; the sound is first heard against the one `lowest`
    /// steps from nought.
    Turning(std::span<const Complex> z, double step, int lowest)
        : odd_(z.size() % 2),
          width_(((z.size() + 1) / 2 + 3) / 4 * 4),
          all_(kTurningRows * width_) {
        const std::size_t n = z.size();
        for (std::size_t i = 0; 2 * i < n; ++i) {
            const double away = 0.5 * static_cast<double>(n - 1) - static_cast<double>(i);
            const double slope = std::numbers::sqrt3 * 2.0 * away / static_cast<double>(n);
            const Complex back = std::polar(1.0, -kTurn * step * away * lowest);
            const Complex turn = std::polar(1.0, kTurn * step * away);
            const Complex after = z[n - 1 - i] * back;
            const Complex before = 2 * i + 1 == n ? 0.0 : z[i] * std::conj(back);
            const Complex sum = after + before, apart = after - before;
            const double values[kTurningRows] = {sum.real(),
                                                 sum.imag(),
                                                 apart.real(),
                                                 apart.imag(),
                                                 slope * sum.real(),
                                                 slope * sum.imag(),
                                                 slope * apart.real(),
                                                 slope * apart.imag(),
                                                 slope,
                                                 slope * slope,
                                                 turn.real(),
                                                 turn.imag(),
                                                 1.0,
                                                 0.0};
            for (std::size_t k = 0; k < kTurningRows; ++k)
                all_[k * width_ + i] = values[k];
        }
    }

    /// Σ conj(tone)·z and the same by the slope, real and imaginary parts; Σ tone·slope^k for
    /// k = 0 to 2, of which the second is imaginary, with as many steps from nought. Then one step
    /// on.
    void sum(double (&sums)[7]) {
        double* const x = all_.data();
        const std::size_t w = width_;
        sum_turning({x, x + w, x + 2 * w, x + 3 * w, x + 4 * w, x + 5 * w, x + 6 * w, x + 7 * w,
                     x + 8 * w, x + 9 * w, x + 10 * w, x + 11 * w, x + 12 * w, x + 13 * w},
                    w, sums);
        for (std::size_t k = 4; k < 7; ++k)
            sums[k] *= 2.0;
        if (odd_) sums[4] -= 1.0;
    }

  private:
    bool odd_;
    std::size_t width_;
    std::vector<double> all_;
};

/// What the reference explains, and beside it the pipe at places side by side.
struct Beside {
    double whole_re, whole_im, slope_re, slope_im, explained;
    const double *pipe_re, *pipe_im, *pipe_slope_re, *pipe_slope_im;
    const double *alike, *between, *alike_slope;
    const double *of_whole, *of_slope, *of_both, *determinant;
};

RANKWRIGHT_WIDE void add_beside_one(const Beside& at, double* __restrict to, std::size_t n) {
    const double x = at.whole_re, y = at.whole_im, v = at.slope_re, w = at.slope_im;
    const double explained = at.explained;
    for (std::size_t i = 0; i < n; ++i) {
        const double a = at.alike[i], b = at.between[i], c = at.alike_slope[i];
        const double whole_re = at.pipe_re[i] - a * x + b * w;
        const double whole_im = at.pipe_im[i] - a * y - b * v;
        const double slope_re = at.pipe_slope_re[i] + b * y - c * v;
        const double slope_im = at.pipe_slope_im[i] - b * x - c * w;
        const double left_re = at.of_slope[i] * slope_re + at.of_both[i] * whole_im;
        const double left_im = at.of_slope[i] * slope_im - at.of_both[i] * whole_re;
        to[i] += at.of_whole[i] * (whole_re * whole_re + whole_im * whole_im) +
                 (left_re * left_re + left_im * left_im) - at.determinant[i] + explained;
    }
}

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
    Sums sums;
    sums.reference = band.line.reference_partial > 0;
    sums.pipe = band.line.pipe_partial > 0;
    for (std::vector<double>* row : {&sums.power, &sums.whole_re, &sums.whole_im, &sums.slope_re,
                                     &sums.slope_im, &sums.explained})
        row->resize(places);
    std::vector<double> overlap[3];
    for (auto& each : overlap)
        each.resize(places);
    Turning turning(band.z, step_hz / band.rate, -reach_);
    double steady = 0.0, sloping = 0.0;  // the information on a tone and on its slope
    for (std::size_t g = 0; g < places; ++g) {
        double sum[7];
        turning.sum(sum);
        for (std::size_t k = 0; k < 3; ++k)
            overlap[k][g] = sum[4 + k] / noise;
        if (g == 0) {
            steady = overlap[0][0] + 1.0 / power;
            sloping = overlap[2][0] + 1.0 / (power * kGridUnrest * kGridUnrest);
        }
        const double whole = 1.0 / (noise * std::sqrt(steady));
        const double slope = 1.0 / (noise * std::sqrt(sloping));
        sums.power[g] = (sum[0] * sum[0] + sum[1] * sum[1]) / (noise * samples);
        sums.whole_re[g] = whole * sum[0];
        sums.whole_im[g] = whole * sum[1];
        sums.slope_re[g] = slope * sum[2];
        sums.slope_im[g] = slope * sum[3];
        sums.explained[g] = whole * whole * (sum[0] * sum[0] + sum[1] * sum[1]) +
                            slope * slope * (sum[2] * sum[2] + sum[3] * sum[3]) - std::log(steady) -
                            std::log(sloping);
    }
    if (sums.reference && sums.pipe) lay_apart(sums, overlap, steady, sloping);
    sums_.push_back(std::move(sums));
}

void PairGrid::lay_apart(Sums& sums, const std::vector<double> (&overlap)[3], double steady,
                         double sloping) const {
    const int most = around_ + reach_;
    for (std::vector<double>* row : {&sums.alike, &sums.between, &sums.alike_slope, &sums.of_whole,
                                     &sums.of_slope, &sums.of_both, &sums.determinant})
        row->reserve(static_cast<std::size_t>(2 * most + 1));
    const double own = std::log(steady) + std::log(sloping);
    for (int apart = most; apart >= -most; --apart) {
        // conj(pipe)·reference; the factor of 1 − w·wᴴ, w = (a ib; ib c).
        const auto at = static_cast<std::size_t>(std::abs(apart));
        const double a = overlap[0][at] / steady, c = overlap[2][at] / sloping;
        const double b = (apart < 0 ? -1.0 : 1.0) * overlap[1][at] / std::sqrt(steady * sloping);
        const double whole = 1.0 - a * a - b * b;
        const double between = b * (c - a);  // imaginary
        const double slope = 1.0 - b * b - c * c - between * between / whole;
        // Where rounding lets nobody tell two apart the pipe explains nothing more.
        const bool distinct = whole > 0.0 && slope > 0.0;
        sums.alike.push_back(a);
        sums.between.push_back(b);
        sums.alike_slope.push_back(c);
        sums.of_whole.push_back(distinct ? 1.0 / whole : 0.0);
        sums.of_slope.push_back(distinct ? 1.0 / std::sqrt(slope) : 0.0);
        sums.of_both.push_back(distinct ? between / (whole * std::sqrt(slope)) : 0.0);
        sums.determinant.push_back(own + (distinct ? std::log(whole) + std::log(slope) : 0.0));
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
    add_beside_one(
        {sums.whole_re[tone], sums.whole_im[tone], sums.slope_re[tone], sums.slope_im[tone],
         sums.explained[tone], &sums.whole_re[pipe], &sums.whole_im[pipe], &sums.slope_re[pipe],
         &sums.slope_im[pipe], &sums.alike[apart], &sums.between[apart], &sums.alike_slope[apart],
         &sums.of_whole[apart], &sums.of_slope[apart], &sums.of_both[apart],
         &sums.determinant[apart]},
        to.data(), to.size());
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
