#include "listening/pair/candidates.h"

#include "listening/pair/grid.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>
#include <vector>

namespace rankwright::listening {

namespace {

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
std::vector<int> reference_points(const PairGrid& grid, int around, int reach) {
    const int stride = std::max(1, around / kMostReferencePoints);
    std::vector<int> points;
    for (int first = -around; first <= around; first += stride)
        points.push_back(first);
    if (stride == 1) return points;
    std::vector<int> lines =
        highest_peaks(around, kMostLines, [&](int i) { return grid.alone(false, i); });
    for (const int pipe :
         highest_peaks(reach, kMostLines, [&](int i) { return grid.alone(true, i); }))
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

PairModel model_of_wandering(const PairRequest& request, double span_s) {
    PairModel model = model_of(request, span_s);
    model.wander_terms = terms_over(span_s, 3.0, 2.0, 14.0);
    model.gain_terms = terms_over(span_s, 1.5, 2.0, 6.0);
    return model;
}

PairState start_at(PairFit& fit, const PairModel& model, const PairPlace& place) {
    return fit.start(place.found_hz[0] - model.nominal_hz[0],
                     place.found_hz[1] - model.nominal_hz[1]);
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
    const double sd = std::hypot(request.reference_sd.value(), 1e-4 * request.reference.value());
    const double doubt = 2.5 * m * sd;
    const double step = 0.2 / (span_s * highest);
    const int around = static_cast<int>(std::ceil(doubt / step));
    const int reach = static_cast<int>(std::ceil(plan.reach_hz / step)) + around;
    const PairGrid grid(bands, turns, step, around, reach);
    std::vector<PairCandidate> line(static_cast<std::size_t>(2 * reach + 1));
    std::vector<double> evidence(line.size());
    for (std::size_t i = 0; i < line.size(); ++i)
        line[i] = {0.0, (static_cast<double>(i) - reach) * step / n, -1e300};
    for (const int first : reference_points(grid, around, reach)) {
        const double x = first * step / m;
        const double prior = 2.0 * std::log1p(x * x / (3.0 * sd * sd));
        grid.lay_evidence(first, evidence);
        for (std::size_t i = 0; i < line.size(); ++i)
            if (const double here = evidence[i] - prior; here > line[i].evidence) {
                line[i].reference_offset = x;
                line[i].evidence = here;
            }
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
