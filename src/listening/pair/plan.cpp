#include "listening/pair/plan.h"

#include "listening/converter.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace rankwright::listening {

namespace {

constexpr int kMostSearched = 48;
constexpr double kLineStandsOut = 60.0;  // line over noise in the whole span's resolution
/// A pipe's own rustle beside its partials, as a share of their power.
constexpr double kPedestal = 1e-4;
constexpr double kLeastReach_hz = 14.0;
constexpr double kSearchReach = 0.0353;  // 60 cents
constexpr double kMargin = 0.0012;       // wander and doubt of the pitches: 2 cents

}  // namespace

PairPlan plan_pair(std::span<const float> samples, const PairRequest& request) {
    PairPlan plan;
    const double f = request.reference.value();
    const double m = request.reference_partial, n = request.pipe_partial;
    const double span_s = static_cast<double>(samples.size()) / request.rate.value();
    if (!(f > 0.0) || span_s < 0.2 || span_s * f / n < 12.0) return plan;
    plan.spacing_hz = f / n;
    plan.reach_hz =
        std::min(std::max(kLeastReach_hz, kSearchReach * m * f), kReachOfSpacing * plan.spacing_hz);
    const NoiseFloor floor(samples, request.rate);
    const double highest = std::min(kTrueShare * request.rate.value(), kHighest_hz);
    const int most = static_cast<int>(highest / plan.spacing_hz);
    for (int unit = 1; unit <= most; ++unit) {  // in multiples of the spacing
        PairPlan::Line line;
        if (unit % request.pipe_partial == 0) line.reference_partial = unit / request.pipe_partial;
        if (unit % request.reference_partial == 0)
            line.pipe_partial = unit / request.reference_partial;
        if (line.reference_partial == 0 && line.pipe_partial == 0) continue;
        if (line.reference_partial > kMostSearched || line.pipe_partial > kMostSearched) break;
        line.hz = unit * plan.spacing_hz;
        const double aside = 0.45 * plan.spacing_hz;
        line.floor = floor.variance(line.hz - aside, line.hz + aside);
        const double wide = std::min(
            0.4 * plan.spacing_hz,
            line.pipe_partial > 0 ? plan.reach_hz * line.pipe_partial / n : kMargin * line.hz);
        const double snr = floor.line_power(line.hz - wide, line.hz + wide) *
                           static_cast<double>(samples.size()) / (4.0 * line.floor);
        if (!(snr > kLineStandsOut)) {
            plan.unheard.push_back(line);
            continue;
        }
        line.information = information(line, snr);
        plan.lines.push_back(line);
    }
    return plan;
}

double PairPlan::heard_from(const Line& line, std::size_t samples) {
    return kLineStandsOut * line.floor / static_cast<double>(samples);
}

double information(const PairPlan::Line& line, double snr) {
    const double k = std::max(line.reference_partial, line.pipe_partial);
    return k * k / (1.0 / snr + kPedestal * (1.0 + k * k / 40.0));
}

std::vector<PairPlan::Line> most_informative(std::vector<PairPlan::Line> lines, std::size_t count) {
    lines.erase(std::remove_if(lines.begin(), lines.end(),
                               [](const auto& line) { return !(line.information > 0.0); }),
                lines.end());
    std::sort(lines.begin(), lines.end(),
              [](const auto& a, const auto& b) { return a.information > b.information; });
    if (lines.size() > count) lines.resize(count);
    return lines;
}

std::vector<PairPlan::Line> telling_lines(const std::vector<PairPlan::Line>& lines,
                                          std::size_t count) {
    std::vector<PairPlan::Line> chosen, others;
    for (const PairPlan::Line& line : lines) {
        const bool meets = line.reference_partial > 0 && line.pipe_partial > 0;
        (meets && chosen.size() < kLowMeetings ? chosen : others).push_back(line);
    }
    const std::size_t left = count - std::min(count, chosen.size());
    for (const PairPlan::Line& line : most_informative(std::move(others), left))
        chosen.push_back(line);
    return chosen;
}

std::optional<PairLine> band_of(const PairPlan::Line& l, const PairRequest& request,
                                const PairPlan& plan, double low, double high) {
    const double m = request.reference_partial, n = request.pipe_partial;
    const double reference_hz = request.reference.value();
    PairLine line;
    line.reference_partial = l.reference_partial;
    line.pipe_partial = l.pipe_partial;
    double from = 0.0, to = 0.0;
    double at = l.reference_partial * reference_hz;
    if (l.reference_partial == 0) at = l.pipe_partial * (m / n) * reference_hz;
    if (l.pipe_partial > 0) {
        from = low * l.pipe_partial / n;
        to = high * l.pipe_partial / n;
    }
    if (l.reference_partial > 0) {
        from = std::min(from, 0.0);
        to = std::max(to, 0.0);
    }
    line.centre_hz = at + 0.5 * (from + to);
    line.half_width_hz = 0.5 * (to - from) + kMargin * at + 1.5;
    line.spacing_hz = plan.spacing_hz;
    // Its neighbours, too, may be as far away from their places as the tones here.
    if (line.half_width_hz > 0.5 * plan.spacing_hz) return std::nullopt;
    return line;
}

std::vector<PairBand> cut_bands(std::span<const float> samples, const PairRequest& request,
                                const PairPlan& plan, const std::vector<PairPlan::Line>& lines,
                                double low, double high) {
    std::vector<PairBand> bands;
    for (const PairPlan::Line& l : lines) {
        const auto line = band_of(l, request, plan, low, high);
        if (!line) continue;
        PairBand band = cut_band(samples, request.rate, *line);
        band.floor = l.floor * band.rate / request.rate.value();
        if (band.z.size() >= 8) bands.push_back(std::move(band));
    }
    return bands;
}

std::vector<PairBand> bands_of_two(std::span<const float> samples, const PairRequest& request,
                                   const PairPlan& plan, std::size_t count, double beat) {
    constexpr double kWander_hz = 0.6;
    return cut_bands(samples, request, plan, telling_lines(plan.lines, count),
                     std::min(0.0, beat) - kWander_hz, std::max(0.0, beat) + kWander_hz);
}

}  // namespace rankwright::listening
