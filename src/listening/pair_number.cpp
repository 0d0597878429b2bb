#include "listening/pair_number.h"

#include "listening/pair_bands.h"
#include "listening/pair_candidates.h"
#include "listening/pair_fit.h"

#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

namespace rankwright::listening {

namespace {

constexpr std::size_t kNumberLines = 12;
constexpr double kNumberRoom_hz = 0.6;  // beside the two, for their wander
constexpr int kNumberSteps = 15;

std::size_t number_terms(double a_second, double span_s, double fewest, double most) {
    return static_cast<std::size_t>(std::clamp(std::round(a_second * span_s), fewest, most));
}

}  // namespace

double gain_of_two(std::span<const float> samples, const PairRequest& request, const PairPlan& plan,
                   const PairPlace& best) {
    const double span_s = static_cast<double>(samples.size()) / request.rate.value();
    const double beat = best.beat(request);
    std::vector<PairBand> bands;
    for (const PairPlan::Line& line : telling_lines(plan.lines, kNumberLines)) {
        const auto place = band_of(line, request, plan, std::min(0.0, beat) - kNumberRoom_hz,
                                   std::max(0.0, beat) + kNumberRoom_hz);
        if (!place) continue;
        PairBand band = cut_band(samples, request.rate, *place);
        band.floor = line.floor * band.rate / request.rate.value();
        if (!band.z.empty()) bands.push_back(std::move(band));
    }
    if (bands.empty()) return 0.0;
    PairModel model = model_of(request, span_s);
    model.wander_terms = number_terms(3.0, span_s, 2.0, 14.0);
    model.gain_terms = number_terms(1.5, span_s, 2.0, 6.0);
    const double reference_offset = best.reference_hz - model.nominal_hz[0];
    PairFit fit(bands, model);
    PairState two = fit.start(reference_offset, best.pipe_hz - model.nominal_hz[1]);
    fit.refine(two, kNumberSteps);

    for (PairBand& band : bands)
        band.line.pipe_partial = 0;
    model.wander_terms = number_terms(6.0, span_s, 3.0, 24.0);
    PairFit alone(bands, model);
    // One tone may stand where either of the two was found.
    const double ratio = model.nominal_hz[0] / model.nominal_hz[1];
    double one = -std::numeric_limits<double>::infinity();
    for (const double offset :
         {0.0, reference_offset, ratio * best.pipe_hz - model.nominal_hz[0]}) {
        PairState state = alone.start(offset, 0.0);
        alone.refine(state, kNumberSteps);
        one = std::max(one, state.evidence);
    }
    return two.evidence - one;
}

}  // namespace rankwright::listening
