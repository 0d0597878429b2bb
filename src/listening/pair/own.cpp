#include "listening/pair/own.h"

#include "listening/arithmetic.h"
#include "listening/pair/bands.h"
#include "listening/pair/candidates.h"
#include "listening/pair/fit.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <cstdlib>
#include <vector>

namespace rankwright::listening {

namespace {

constexpr double kOwnReach = 0.0116;  // 20 cents
constexpr std::size_t kOwnLines = 6;  // of each
constexpr double kOwnStep = 0.2;      // turns in the span, of the highest partial
constexpr int kOwnSteps = 15;
/// Of its band's power, a partial that tells its pitch.
constexpr double kOwnClear = 0.5;
/// Of the strongest meeting's power, so that a line of the wind or the mains is none.
constexpr double kOwnLoud = 0.01;
/// Standard uncertainties between what is known and what is heard.
constexpr double kContradicts = 6.0;
/// A pipe's strongest partial of its own against the strongest one that it shares with the other:
/// organ pipes' partials lie less than 20 dB apart there, a stopped pipe's odd ones at least.
constexpr double kOwnLeast = 0.01;
/// Around the strongest meeting: a stopped pipe's next partial that sounds is the second.
constexpr int kOwnBeside = 2;

template <typename Line>
int partial_of(const Line& line, std::size_t i) {
    return i == 0 ? line.reference_partial : line.pipe_partial;
}

double own_below_hz(const PairRequest& request) {
    return kLowestMeetings * request.reference_partial * request.reference.value();
}

bool is_own(const PairPlan::Line& line, std::size_t i) {
    return partial_of(line, i) > 0 && partial_of(line, 1 - i) == 0;
}

/// Of one of the two, among the lowest.
std::vector<PairPlan::Line> own_lines(std::span<const PairPlan::Line> lines,
                                      const PairRequest& request, std::size_t i) {
    std::vector<PairPlan::Line> own;
    for (const PairPlan::Line& line : lines)
        if (is_own(line, i) && line.hz < own_below_hz(request)) own.push_back(line);
    return own;
}

/// The reference's lowest partials that the pipe hasn't, each as wide as it is looked for.
std::vector<PairBand> reference_bands(std::span<const float> samples, const PairRequest& request,
                                      const PairPlan& plan) {
    std::vector<PairPlan::Line> lines = own_lines(plan.lines, request, 0);
    for (const PairPlan::Line& line : own_lines(plan.unheard, request, 0))
        lines.push_back(line);  // it may sound beside where it was looked for
    std::sort(lines.begin(), lines.end(), [](const auto& a, const auto& b) {
        return a.reference_partial < b.reference_partial;
    });
    if (lines.size() > kOwnLines) lines.resize(kOwnLines);
    std::vector<PairBand> bands;
    for (const PairPlan::Line& l : lines) {
        PairLine line;
        line.reference_partial = l.reference_partial;
        line.centre_hz = l.hz;
        line.half_width_hz = std::min(kOwnReach * l.hz + 1.5, kReachOfSpacing * plan.spacing_hz);
        line.spacing_hz = plan.spacing_hz;
        PairBand band = cut_band(samples, request.rate, line);
        band.floor = l.floor * band.rate / request.rate.value();
        if (band.z.size() >= 8) bands.push_back(std::move(band));
    }
    return bands;
}

/// Share of a band's power that a steady tone explains, so far from its centre.
double own_explained(const PairBand& band, double hz) {
    const std::complex<double> turn = std::polar(1.0, -kTurn * hz / band.rate);
    std::complex<double> sum = 0.0, phasor = 1.0;
    double power = 0.0;
    for (const std::complex<double>& z : band.z) {
        sum += z * phasor;
        phasor *= turn;
        power += std::norm(z);
    }
    return std::norm(sum) / (static_cast<double>(band.z.size()) * std::max(power, 1e-300));
}

/// Where one steady tone explains most of all bands together, from nominal.
double own_offset(std::span<const PairBand> bands, double reach_hz, double span_s) {
    int highest = 1;
    for (const PairBand& band : bands)
        highest = std::max(highest, band.line.reference_partial);
    const double step = kOwnStep / (span_s * highest);
    const int most = static_cast<int>(std::ceil(reach_hz / step));
    double best = 0.0, most_explained = -1.0;
    for (int i = -most; i <= most; ++i) {
        double all = 0.0;
        for (const PairBand& band : bands) {
            constexpr double kNearlyAll = 1.001;
            const double share = own_explained(band, i * step * band.line.reference_partial);
            all -= std::log(1.0 - share / kNearlyAll);
        }
        if (all > most_explained) {
            most_explained = all;
            best = i * step;
        }
    }
    return best;
}

/// Mean square of the strongest; 0 of none.
double strongest_band(std::span<const PairBand> bands) {
    double strongest = 0.0;
    for (const PairBand& band : bands) {
        double power = 0.0;
        for (const std::complex<double>& z : band.z)
            power += std::norm(z);
        strongest = std::max(strongest, power / static_cast<double>(band.z.size()));
    }
    return strongest;
}

std::vector<PairPlan::Line> own_meetings(const PairPlan& plan) {
    std::vector<PairPlan::Line> meet;
    for (const PairPlan::Line& line : plan.lines)
        if (line.reference_partial > 0 && line.pipe_partial > 0 && meet.size() < kLowMeetings)
            meet.push_back(line);
    return meet;
}

}  // namespace

std::optional<Hertz> contradicted_by_own(std::span<const float> samples, const PairRequest& request,
                                         const PairPlan& plan) {
    if (request.reference_partial == 1) return std::nullopt;
    std::vector<PairBand> bands = reference_bands(samples, request, plan);
    if (bands.empty()) return std::nullopt;
    const double f = request.reference.value();
    const double span_s = static_cast<double>(samples.size()) / request.rate.value();
    const double reach_hz = std::min(kOwnReach * f, kReachOfSpacing * plan.spacing_hz);
    const double offset = own_offset(bands, reach_hz, span_s);
    if (!far_fetched(offset, request)) return std::nullopt;

    PairModel model = model_of_wandering(request, span_s);
    model.reference_sd_hz = reach_hz;
    PairFit fit(bands, model);
    PairState state = fit.start(offset, 0.0);
    fit.refine(state, kOwnSteps);
    const PairAnswer answer = fit.answer(state);
    const double variance = std::max(answer.variance[0][0], answer.scatter[0]);
    const double doubt = std::hypot(reference_sd(request), std::sqrt(variance));
    if (!(std::abs(answer.offset_hz[0]) > kContradicts * doubt) ||
        std::abs(answer.offset_hz[0]) > reach_hz)
        return std::nullopt;
    const double loud =
        kOwnLoud * strongest_band(cut_bands(samples, request, plan, own_meetings(plan), 0.0, 0.0));
    for (std::size_t b = 0; b < bands.size(); ++b) {
        const double level = state.bands[b].level[0];
        if (level > loud && level > kOwnClear * strongest_band({&bands[b], 1}))
            return Hertz{f + answer.offset_hz[0]};
    }
    return std::nullopt;
}

bool lacks_own(std::span<const float> samples, const PairRequest& request, const PairPlan& plan,
               const PairPlace& place) {
    if (request.reference_partial == 1 && request.pipe_partial == 1) return false;
    const double beat = place.beat(request);
    const std::vector<PairBand> meet = cut_bands(samples, request, plan, own_meetings(plan),
                                                 std::min(0.0, beat), std::max(0.0, beat));
    if (meet.empty()) return false;
    const double span_s = static_cast<double>(samples.size()) / request.rate.value();
    const PairModel model = model_of_wandering(request, span_s);
    PairFit fit(meet, model);
    PairState two = start_at(fit, model, place);
    fit.refine(two, kOwnSteps);

    for (const std::size_t i : {std::size_t{0}, std::size_t{1}}) {
        if ((i == 0 ? request.reference_partial : request.pipe_partial) == 1) continue;
        double shared = 0.0;
        int strongest = 0;
        for (std::size_t b = 0; b < meet.size(); ++b)
            if (two.bands[b].level[i] > shared) {
                shared = two.bands[b].level[i];
                strongest = partial_of(meet[b].line, i);
            }
        // All that sounds there: whatever else does, the pipe's own is no stronger.
        const double own = strongest_band(
            cut_bands(samples, request, plan, own_lines(plan.lines, request, i), beat, beat));
        double hidden = 0.0;
        for (const PairPlan::Line& line : own_lines(plan.unheard, request, i))
            if (std::abs(partial_of(line, i) - strongest) <= kOwnBeside)
                hidden = std::max(hidden, PairPlan::heard_from(line, samples.size()));
        if (std::max(own, hidden) < kOwnLeast * shared) return true;
    }
    return false;
}

}  // namespace rankwright::listening
