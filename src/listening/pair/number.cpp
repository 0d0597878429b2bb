#include "listening/pair/number.h"

#include "listening/pair/bands.h"
#include "listening/pair/candidates.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <utility>
#include <vector>

namespace rankwright::listening {

namespace {

constexpr std::size_t kNumberLines = 12;
constexpr int kNumberSteps = 15;

}  // namespace

PairState one_tone(PairFit& alone, const PairModel& model, const PairPlace& best, int steps) {
    const double ratio = model.nominal_hz[0] / model.nominal_hz[1];
    std::optional<PairState> one;
    for (const double offset : {0.0, best.found_hz[0] - model.nominal_hz[0],
                                ratio * best.found_hz[1] - model.nominal_hz[0]}) {
        PairState state = alone.start(offset, 0.0);
        alone.refine(state, steps);
        if (!one || state.evidence > one->evidence) one = std::move(state);
    }
    return *one;
}

double gain_of_two(std::span<const float> samples, const PairRequest& request, const PairPlan& plan,
                   const PairPlace& best) {
    const double span_s = static_cast<double>(samples.size()) / request.rate.value();
    std::vector<PairBand> bands =
        bands_of_two(samples, request, plan, kNumberLines, best.beat(request));
    if (bands.empty()) return 0.0;
    PairModel model = model_of_wandering(request, span_s);
    PairFit fit(bands, model);
    PairState two = start_at(fit, model, best);
    fit.refine(two, kNumberSteps);

    for (PairBand& band : bands)
        band.line.pipe_partial = 0;
    model.wander_terms = terms_over(span_s, 6.0, 3.0, 24.0);
    PairFit alone(bands, model);
    return two.evidence - one_tone(alone, model, best, kNumberSteps).evidence;
}

}  // namespace rankwright::listening
