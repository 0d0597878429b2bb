#include "listening/pair_candidates.h"

#include "listening/arithmetic.h"
#include "listening/linear_solve.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <numbers>
#include <utility>
#include <vector>

namespace rankwright::listening {

namespace {

using Complex = std::complex<double>;
/// How far a reference's mean pitch wanders from one span to the next, at best: 0.05 cents.
constexpr double kDrift = 3e-5;
constexpr double kFarFetched = 6.0;  // standard uncertainties of the reference
constexpr std::size_t kMirrored = 2;
constexpr double kMirroredTurns = 3.0;                                    // of the beat in the span
constexpr double kMirrorNear = 0.1;                                       // turns
constexpr std::array<double, 5> kSlowTried{0.12, 0.25, 0.45, 0.75, 1.1};  // turns
constexpr int kMostReferencePoints = 30;                                  // either side
constexpr std::size_t kMostLines = 2;
constexpr int kBesideLine = 3;  // steps, on either side

/// Two steady tones on a grid of offsets; the sums that it needs are made once.
class Grid {
  public:
    /// `turns`: of each band's tones while a tone at the first meeting turns once.
    Grid(std::span<const PairBand> bands, std::span<const double> turns, double step, int reach)
        : bands_(bands), reach_(reach) {
        for (std::size_t b = 0; b < bands.size(); ++b)
            fill(bands[b], turns[b] * step);
    }
    /// ln of likelihood with tones at these steps from nominal.
    double evidence(int first, int second) const;
    /// How much one tone at this step explains by itself, where the reference has partials (0) or
    /// the pipe (1).
    double alone(std::size_t which, int at) const;

  private:
    struct Sums {
        std::vector<std::array<Complex, 2>> tone;  // Σ ψ_j z e^{−2πift}, f from −reach to reach
        std::vector<std::array<Complex, 3>> overlap;  // Σ ψ_jψ_l e^{2πift}, f from 0 to 2·reach
        double power = 0.0, noise = 0.0;
        std::size_t count = 0;
    };
    void fill(const PairBand& band, double step_hz);

    std::span<const PairBand> bands_;
    int reach_;
    std::vector<Sums> sums_;
};

void Grid::fill(const PairBand& band, double step_hz) {
    constexpr double kUnsteady = 0.02;  // wander and unrest, as noise
    Sums sums;
    sums.count = band.z.size();
    for (const Complex z : band.z)
        sums.power += std::norm(z);
    sums.power /= static_cast<double>(sums.count);
    sums.noise = band.floor + kUnsteady * kUnsteady * sums.power;
    sums.tone.resize(static_cast<std::size_t>(2 * reach_ + 1));
    sums.overlap.resize(static_cast<std::size_t>(2 * reach_ + 1));
    const double length = static_cast<double>(sums.count) / band.rate;
    for (std::size_t m = 0; m < sums.count; ++m) {
        const double t = band.first_s + static_cast<double>(m) / band.rate;
        const double slope = std::numbers::sqrt3 * 2.0 * t / length;
        const Complex turn = std::polar(1.0, kTurn * step_hz * t);
        Complex at = std::polar(1.0, -kTurn * step_hz * t * reach_), from = 1.0;
        for (std::size_t g = 0; g < sums.tone.size(); ++g) {
            const Complex term = std::conj(at) * band.z[m];
            sums.tone[g][0] += term;
            sums.tone[g][1] += slope * term;
            sums.overlap[g][0] += from;
            sums.overlap[g][1] += slope * from;
            sums.overlap[g][2] += slope * slope * from;
            at *= turn;
            from *= turn;
        }
    }
    sums_.push_back(std::move(sums));
}

double Grid::evidence(int first, int second) const {
    constexpr double kUnrest = 0.1;
    double sum = 0.0;
    for (std::size_t b = 0; b < sums_.size(); ++b) {
        const Sums& s = sums_[b];
        const bool has[2] = {bands_[b].line.reference_partial > 0, bands_[b].line.pipe_partial > 0};
        std::array<Complex, 16> a{};
        std::array<Complex, 4> h{};
        const int apart = first - second;  // conj(tone 2)·tone 1
        for (std::size_t i = 0; i < 2; ++i) {
            if (!has[i]) {  // decoupled, and of no consequence
                a[2 * i * 5] = a[(2 * i + 1) * 5] = 1.0;
                continue;
            }
            const auto g = static_cast<std::size_t>((i == 0 ? first : second) + reach_);
            for (std::size_t j = 0; j < 2; ++j) {
                h[2 * i + j] = s.tone[g][j] / s.noise;
                for (std::size_t l = 0; l < 2; ++l) {
                    a[(2 * i + j) * 4 + 2 * i + l] = s.overlap[0][j + l].real() / s.noise;
                    Complex cross = s.overlap[static_cast<std::size_t>(std::abs(apart))][j + l];
                    if (apart < 0) cross = std::conj(cross);
                    if (i == 1 && has[0]) a[(2 + j) * 4 + l] = cross / s.noise;
                }
                const double spread = s.power * (j == 0 ? 1.0 : kUnrest * kUnrest);
                a[(2 * i + j) * 5] += 1.0 / spread;
            }
        }
        if (!cholesky<Complex>(a, 4)) continue;
        solve_lower<Complex>(a, 4, h.data());
        for (const Complex x : h)
            sum += std::norm(x);
        sum -= log_determinant<Complex>(a, 4);
    }
    return sum;
}

double Grid::alone(std::size_t which, int at) const {
    double sum = 0.0;
    for (std::size_t b = 0; b < sums_.size(); ++b) {
        const PairLine& line = bands_[b].line;
        if ((which == 0 ? line.reference_partial : line.pipe_partial) > 0)
            sum += std::norm(sums_[b].tone[static_cast<std::size_t>(at + reach_)][0]) /
                   (sums_[b].noise * static_cast<double>(sums_[b].count));
    }
    return sum;
}

/// The highest maxima of `value` for whole numbers up to `most` either way.
template <typename Value>
std::vector<int> highest_peaks(int most, std::size_t count, Value value) {
    std::vector<std::pair<double, int>> peaks;
    double before = value(-most), here = value(1 - most);
    for (int i = 1 - most; i < most; ++i) {
        const double after = value(i + 1);
        if (here >= before && here > after) peaks.emplace_back(here, i);
        before = std::exchange(here, after);
    }
    std::sort(peaks.rbegin(), peaks.rend());
    if (peaks.size() > count) peaks.resize(count);
    std::vector<int> at;
    for (const auto& peak : peaks)
        at.push_back(peak.second);
    return at;
}

/// Where the reference is looked for, up to `around` steps from nominal; the pipe up to `reach`.
/// Where that is too far for every step to be tried, a line between two that are tried would be
/// missed: so closely where one stands, by itself or beside the pipe where that is strongest.
std::vector<int> reference_points(const Grid& grid, int around, int reach) {
    const int stride = std::max(1, around / kMostReferencePoints);
    std::vector<int> points;
    for (int first = -around; first <= around; first += stride)
        points.push_back(first);
    if (stride == 1) return points;
    std::vector<int> lines =
        highest_peaks(around, kMostLines, [&](int i) { return grid.alone(0, i); });
    for (const int pipe : highest_peaks(reach, kMostLines, [&](int i) { return grid.alone(1, i); }))
        for (const int line :
             highest_peaks(around, kMostLines, [&](int i) { return grid.evidence(i, pipe); }))
            lines.push_back(line);
    for (const int line : lines)
        for (int i = -kBesideLine; i <= kBesideLine; ++i)
            if (std::abs(line + i) <= around) points.push_back(line + i);
    std::sort(points.begin(), points.end());
    points.erase(std::unique(points.begin(), points.end()), points.end());
    return points;
}

}  // namespace

double reference_sd(const PairRequest& request) {
    return std::hypot(request.reference_sd.value(), kDrift * request.reference.value());
}

PairModel model_of(const PairRequest& request, double span_s) {
    PairModel model;
    model.span_s = span_s;
    model.nominal_hz = {
        request.reference.value(),
        request.reference.value() * request.reference_partial / request.pipe_partial};
    model.reference_sd_hz = reference_sd(request);
    return model;
}

std::size_t terms_over(double span_s, double a_second, double fewest, double most) {
    return static_cast<std::size_t>(std::clamp(std::round(a_second * span_s), fewest, most));
}

bool far_fetched(double reference_offset, const PairRequest& request) {
    return std::abs(reference_offset) >= kFarFetched * reference_sd(request);
}

std::vector<PairCandidate> scan(std::span<const PairBand> bands, const PairRequest& request,
                                const PairPlan& plan, double span_s) {
    const double m = request.reference_partial, n = request.pipe_partial;
    std::vector<double> turns;
    double highest = 1.0;
    for (const PairBand& band : bands) {
        turns.push_back(std::max(band.line.reference_partial / m, band.line.pipe_partial / n));
        highest = std::max(highest, turns.back());
    }
    const double doubt =
        2.5 * m * std::hypot(request.reference_sd.value(), 1e-4 * request.reference.value());
    const double step = 0.2 / (span_s * highest);
    const int around = static_cast<int>(std::ceil(doubt / step));
    const int reach = static_cast<int>(std::ceil(plan.reach_hz / step)) + around;
    const Grid grid(bands, turns, step, reach);
    const std::vector<int> points = reference_points(grid, around, reach);
    std::vector<PairCandidate> line;
    for (int second = -reach; second <= reach; ++second) {
        PairCandidate best;
        best.evidence = -1e300;
        for (const int first : points) {
            const double x = first * step / m;
            const double sd =
                std::hypot(request.reference_sd.value(), 1e-4 * request.reference.value());
            const double evidence =
                grid.evidence(first, second) - 2.0 * std::log1p(x * x / (3.0 * sd * sd));
            if (evidence > best.evidence) best = {x, second * step / n, evidence};
        }
        line.push_back(best);
    }
    std::vector<PairCandidate> peaks;
    for (std::size_t i = 0; i < line.size(); ++i)
        if ((i == 0 || line[i].evidence >= line[i - 1].evidence) &&
            (i + 1 == line.size() || line[i].evidence > line[i + 1].evidence))
            peaks.push_back(line[i]);
    std::sort(peaks.begin(), peaks.end(), [](const PairCandidate& a, const PairCandidate& b) {
        return a.evidence > b.evidence;
    });
    if (peaks.size() > kMostPlaces) peaks.resize(kMostPlaces);
    return peaks;
}

void add_swapped(std::vector<PairCandidate>& candidates, const PairRequest& request) {
    const std::size_t count = candidates.size();
    for (std::size_t i = 0; i < count; ++i) {
        const PairCandidate c = candidates[i];
        if (!far_fetched(c.pipe_offset, request))
            candidates.push_back({c.pipe_offset, c.reference_offset, c.evidence});
    }
}

void add_mirrored(std::vector<PairCandidate>& candidates, const PairRequest& request,
                  double span_s) {
    const double m = request.reference_partial, n = request.pipe_partial;
    const std::size_t count = std::min(candidates.size(), kMirrored);
    for (std::size_t i = 0; i < count; ++i) {
        PairCandidate mirror = candidates[i];
        const double beat = n * mirror.pipe_offset - m * mirror.reference_offset;
        if (std::abs(beat) * span_s > kMirroredTurns) continue;
        mirror.pipe_offset -= 2.0 * beat / n;
        const bool known =
            std::any_of(candidates.begin(), candidates.end(), [&](const PairCandidate& c) {
                return n * std::abs(c.pipe_offset - mirror.pipe_offset) * span_s < kMirrorNear;
            });
        if (!known) candidates.push_back(mirror);
    }
}

void add_slow(std::vector<PairCandidate>& candidates, const PairRequest& request, double span_s) {
    const double m = request.reference_partial, n = request.pipe_partial;
    const PairCandidate best = candidates.front();
    if (std::abs(n * best.pipe_offset - m * best.reference_offset) * span_s > kSlowTurns) return;
    for (const double turns : kSlowTried)
        for (const double sign : {-1.0, 1.0})
            candidates.push_back({0.0, sign * turns / (n * span_s), best.evidence});
}

}  // namespace rankwright::listening
