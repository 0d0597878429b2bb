// What a fitted pair says: mean pitches over the span, and how sure they are.
#include "listening/arithmetic.h"
#include "listening/linear_solve.h"
#include "listening/pair/fit.h"
#include "listening/sample_sums.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace rankwright::listening {

namespace {

using Complex = std::complex<double>;
/// Points over the whole span at which phase paths are looked at: the bands end a little inside it.
constexpr std::size_t kPoints = 64;
/// A band whose noise is this much more than the noise between the partials: the pipes' own rustle.
constexpr double kRustling = 2.5;
/// And a slope is told worse by so much, in variance, than by noise of its own from sample to
/// sample (recorded pairs, each partial against the pipe alone).
constexpr double kOfRustle = 4.8;
/// Of the doubt that a mean has because it may be weighted otherwise, what counts (whole recorded
/// pairs, against means weighted otherwise).
constexpr double kOtherwise = 0.5;
/// Wander beyond the path's cosines moves the mean by this much of a cosine's (simulated pipes).
constexpr double kUnheardWander = 0.01;

}  // namespace

/// The paths' and the gains' terms at the points.
void PairFit::lay_points(double first_s, double step_s) {
    points_path_.resize(path_ * kPoints);
    points_gain_.resize(gains_ * kPoints);
    for (std::size_t m = 0; m < kPoints; ++m) {
        const double u = (first_s + static_cast<double>(m) * step_s) / model_.span_s;
        for (std::size_t j = 0; j < path_; ++j)
            points_path_[j * kPoints + m] = path_terms_[j].at(u);
        for (std::size_t j = 0; j < gains_; ++j)
            points_gain_[j * kPoints + m] = gain_terms_[j].at(u);
    }
}

void PairFit::mean_slope(std::size_t b, std::size_t pipe, const PairState& state, Slope& result) {
    const Work& w = work_[b];
    const double k = partial(b, pipe);
    const Complex* c = &w.amplitude[pipe * gains_];
    const std::vector<double>&path = points_path_, &gain = points_gain_;
    std::vector<Complex>& gains = gains_at_;
    gains.assign(kPoints, 0.0);
    for (std::size_t j = 0; j < gains_; ++j)
        for (std::size_t m = 0; m < kPoints; ++m)
            gains[m] += c[j] * gain[j * kPoints + m];
    double power = 0.0, centre = 0.0, spread = 0.0;
    for (std::size_t m = 0; m < kPoints; ++m) {
        power += std::norm(gains[m]);
        centre += std::norm(gains[m]) * path[m];
    }
    centre /= std::max(power, 1e-300);
    for (std::size_t m = 0; m < kPoints; ++m)
        spread += std::norm(gains[m]) * (path[m] - centre) * (path[m] - centre);

    result.slope = result.weight = 0.0;
    result.by_path.assign(path_, 0.0);
    result.by_gain.assign(2 * gains_, 0.0);
    if (!(spread > 0.0)) return;
    result.weight = k * k * power * bands_[b].rate / bands_[b].floor;
    std::array<double, kPoints> part, conj_re, conj_im;
    for (std::size_t m = 0; m < kPoints; ++m) {
        const double away = (path[m] - centre) / spread;
        part[m] = std::norm(gains[m]) * away;
        result.slope += part[m] * std::arg(gains[m] * std::conj(c[0])) / (kTurn * k);
        conj_re[m] = gains[m].real() * away / (kTurn * k);
        conj_im[m] = -gains[m].imag() * away / (kTurn * k);
    }
    for (std::size_t p = 0; p < path_; ++p) {
        result.by_path[p] = sum2(part.data(), &path[p * kPoints], kPoints);
        result.slope += result.by_path[p] * state.unknowns[pipe * path_ + p];
    }
    for (std::size_t j = 0; j < gains_; ++j)
        result.by_gain[pipe * gains_ + j] = {sum2(conj_re.data(), &gain[j * kPoints], kPoints),
                                             sum2(conj_im.data(), &gain[j * kPoints], kPoints)};
}

/// Variance of a slope by the gains: Im(byᵀc), c complex Gaussian of covariance A⁻¹, has half of
/// byᵀA⁻¹by*.
double PairFit::variance_by_gains(std::size_t b, const Slope& slope, const PairState& state) {
    conjugate_ = slope.by_gain;
    for (Complex& x : conjugate_)
        x = std::conj(x);
    solve_lower<Complex>(work_[b].normal, 2 * gains_, conjugate_.data());
    double own = 0.0;
    for (const Complex x : conjugate_)
        own += std::norm(x);
    return 0.5 * own * (rustles(b, state) ? kOfRustle : 1.0);
}

bool PairFit::rustles(std::size_t b, const PairState& state) const {
    return state.bands[b].noise > kRustling * bands_[b].floor;
}

void PairFit::mean_of_pipe(std::size_t i, const PairState& state, double over_s,
                           PairAnswer& answer) {
    by_[i].assign(unknowns_, 0.0);
    if (slopes_.size() < bands_.size()) slopes_.resize(bands_.size());
    said_.clear();
    double total = 0.0, rustling = 0.0;
    for (std::size_t b = 0; b < bands_.size(); ++b) {
        slopes_[b].weight = 0.0;
        if (has(b, i)) mean_slope(b, i, state, slopes_[b]);
        if (!(slopes_[b].weight > 0.0)) continue;
        total += slopes_[b].weight;
        if (rustles(b, state)) rustling += slopes_[b].weight;
        said_.push_back({partial(b, i), slopes_[b].slope, variance_by_gains(b, slopes_[b], state),
                         slopes_[b].weight});
    }
    if (total > 0.0) {
        for (PartialSlope& said : said_)
            said.weight /= total;
        share_out(said_, over_s, shares_);
        std::size_t at = 0;
        for (std::size_t b = 0; b < bands_.size(); ++b) {
            if (!(slopes_[b].weight > 0.0)) continue;
            const double share = shares_.shares[at];
            answer.as_weighed_hz[i] += said_[at].weight * said_[at].hz;
            answer.variance[i][i] += share * share * said_[at].variance;
            add_by_unknowns(b, i, share);
            ++at;
        }
        answer.rustle[i] = rustling / total;
        answer.offset_hz[i] = shares_.mean_hz;
        answer.variance[i][i] += shares_.lent + kOtherwise * answer.rustle[i] * shares_.undefined;
        answer.scatter[i] = shares_.scatter;
    } else {
        answer.offset_hz[i] = answer.as_weighed_hz[i] = state.unknowns[i * path_];
        by_[i][i * path_] = 1.0;
    }
    solve_lower<double>(factor_, unknowns_, by_[i].data());
}

/// How a mean follows the unknowns, by one partial's slope.
void PairFit::add_by_unknowns(std::size_t b, std::size_t i, double share) {
    const std::size_t q = 2 * gains_;
    for (std::size_t p = 0; p < unknowns_; ++p) {
        double change = p / path_ == i ? slopes_[b].by_path[p % path_] : 0.0;
        for (std::size_t a = 0; a < q; ++a)
            change -= (slopes_[b].by_gain[a] * work_[b].change[p * q + a]).imag();
        by_[i][p] += share * change;
    }
}

PairAnswer PairFit::answer(const PairState& state) {
    if (!curved_ || state.cost != cost_ || state.unknowns != evaluated_)
        evaluate(state, true, true);
    const std::size_t q = 2 * gains_;
    for (std::size_t b = 0; b < bands_.size(); ++b) {
        Work& w = work_[b];
        w.change.resize(q * unknowns_);
        for (std::size_t p = 0; p < unknowns_; ++p) {
            for (std::size_t a = 0; a < q; ++a)
                w.change[p * q + a] = w.response.at(a, p);
            solve_upper<Complex>(w.normal, q, &w.change[p * q]);
        }
    }
    return part(state, -0.5, 0.5);
}

PairAnswer PairFit::part(const PairState& state, double from, double to) {
    PairAnswer answer;
    factor_ = hessian_;
    cholesky<double>(factor_, unknowns_);
    const double all_s = model_.means_over_s(), over_s = (to - from) * all_s;
    const double step_s = over_s / static_cast<double>(kPoints);
    lay_points(0.5 * model_.span_s + (from - 0.5) * all_s + 0.5 * step_s, step_s);
    for (std::size_t i = 0; i < 2; ++i)
        mean_of_pipe(i, state, over_s, answer);
    for (std::size_t i = 0; i < 2; ++i)
        for (std::size_t l = 0; l < 2; ++l)
            for (std::size_t p = 0; p < unknowns_; ++p)
                answer.variance[i][l] += by_[i][p] * by_[l][p];
    for (std::size_t i = 0; i < 2; ++i) {
        const double unheard = kUnheardWander * wander_over_span(state, i);
        answer.variance[i][i] += unheard * unheard;
    }
    return answer;
}

double PairFit::turns(const PairState& state, double from_s, std::array<int, 2> partials) const {
    const double m = partials[0], n = partials[1];
    const double begin = from_s / model_.span_s, step = (0.5 - begin) / (kPoints - 1);
    double least = 0.0, most = 0.0;
    for (std::size_t p = 0; p < kPoints; ++p) {
        const double u = begin + static_cast<double>(p) * step;
        double turned = (n * model_.nominal_hz[1] - m * model_.nominal_hz[0]) * u * model_.span_s;
        for (std::size_t j = 0; j < path_; ++j)
            turned +=
                path_terms_[j].at(u) * (n * state.unknowns[path_ + j] - m * state.unknowns[j]);
        least = p == 0 ? turned : std::min(least, turned);
        most = p == 0 ? turned : std::max(most, turned);
    }
    return most - least;
}

Complex PairFit::tone(std::size_t b, std::size_t pipe, const PairState& state, double at_s) const {
    if (!has(b, pipe) || (pipe == 1 && at_s < model_.pipe_from_s)) return 0.0;
    const double k = partial(b, pipe), u = at_s / model_.span_s;
    double cycles = state.unknowns[pipe * path_] * at_s;
    for (std::size_t j = 1; j < path_; ++j)
        cycles += state.unknowns[pipe * path_ + j] * path_terms_[j].at(u);
    Complex gain = 0.0;
    for (std::size_t j = 0; j < gains_; ++j)
        gain += work_[b].amplitude[pipe * gains_ + j] * gain_terms_[j].at(u);
    const double turns =
        k * cycles + (k * model_.nominal_hz[pipe] - bands_[b].line.centre_hz) * at_s;
    return gain * std::polar(1.0, kTurn * (turns - std::floor(turns)));
}

void PairFit::carry(PairState& state, const PairModel& old, double later_s) {
    const std::size_t old_path = 1 + old.wander_terms;
    const double step_s = model_.span_s / static_cast<double>(kPoints);
    lay_points(0.5 * (step_s - model_.span_s), step_s);
    carried_.assign(unknowns_, 0.0);
    for (std::size_t i = 0; i < 2; ++i) {
        // Least squares over points, with a constant, which the amplitudes take up.
        const std::size_t size = path_ + 1;
        factor_.assign(std::max(size * size, unknowns_ * unknowns_), 0.0);
        step_.assign(std::max(size, unknowns_), 0.0);
        const double* old_u = &state.unknowns[i * old_path];
        for (std::size_t m = 0; m < kPoints; ++m) {
            const double t = points_path_[m] + later_s;  // from the old middle
            double phase = old_u[0] * t;
            for (std::size_t j = 1; j < old_path; ++j)
                phase += old_u[j] * path_term(j).at(t / old.span_s);
            for (std::size_t p = 0; p < size; ++p) {
                const double gp = p < path_ ? points_path_[p * kPoints + m] : 1.0;
                step_[p] += gp * phase;
                for (std::size_t r = 0; r <= p; ++r)
                    factor_[p * size + r] += gp * (r < path_ ? points_path_[r * kPoints + m] : 1.0);
            }
        }
        const std::span<double> square(factor_.data(), size * size);
        for (std::size_t p = 0; p < size; ++p)
            square[p * (size + 1)] *= 1.0 + 1e-9;
        if (cholesky<double>(square, size)) solve<double>(square, size, step_.data());
        for (std::size_t p = 0; p < path_; ++p)
            carried_[i * path_ + p] = step_[p];
    }
    state.unknowns = carried_;
    factor_.resize(unknowns_ * unknowns_);
    step_.resize(unknowns_);
}

}  // namespace rankwright::listening
