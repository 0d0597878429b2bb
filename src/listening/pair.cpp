#include "listening/pair.h"

#include "listening/arithmetic.h"
#include "listening/pair_bands.h"
#include "listening/pair_fit.h"
#include "listening/pair_number.h"
#include "listening/pair_search.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <vector>

namespace rankwright::listening {

namespace {

/// Real noise beside a partial isn't as independent from sample to sample as the fit takes it for:
/// explanations are weighed by this power of their evidence.
constexpr double kPairTemper = 0.35;

/// Of the mean over a span that was all heard (recorded pipes).
constexpr PairDoubt kOfMean{2.0, 1.0, 2.5e-8};

/// So many turns are no unrest of one pipe.
constexpr double kTurnsCounted = 2.5;

/// Of the beat: by the fit's curvature, or by how far the partials disagree if that is more.
double variance(const PairPlace& place, const PairRequest& request, const PairDoubt& doubt) {
    const double meets = request.reference_partial * request.reference.value();
    const double defined = doubt.defined_per_hz * meets * meets;
    const double curvature = place.beat_variance * (1.0 + (doubt.rustle - 1.0) * place.rustle);
    const double scatter = place.scatter * (1.0 + (doubt.rustling_scatter - 1.0) * place.rustle);
    return std::max(curvature, scatter) + place.rustle * defined * defined;
}

double weight_of(const PairPlace& place, const PairPlace& best) {
    return std::exp(kPairTemper * (place.evidence - best.evidence));
}

/// What the beat's size stays under by two standard uncertainties' worth (97.7 %), all
/// explanations weighed.
double slower_than(std::span<const PairPlace> places, const PairRequest& request,
                   const PairDoubt& doubt) {
    constexpr double kOutside = 0.0228;
    double low = 0.0, high = 0.0, total = 0.0;
    for (const PairPlace& place : places) {
        total += weight_of(place, places.front());
        high = std::max(
            high, std::abs(place.beat(request)) + 5.0 * std::sqrt(variance(place, request, doubt)));
    }
    for (int halving = 0; halving < 40; ++halving) {
        const double x = 0.5 * (low + high);
        double outside = 0.0;
        for (const PairPlace& place : places) {
            const double sd = std::sqrt(2.0 * variance(place, request, doubt));
            const double beat = place.beat(request);
            outside += weight_of(place, places.front()) * 0.5 *
                       (std::erfc((x - beat) / sd) + std::erfc((x + beat) / sd));
        }
        (outside > kOutside * total ? low : high) = x;
    }
    return high;
}

}  // namespace

BeatReading weigh(std::span<const PairPlace> places, const PairRequest& request,
                  const PairDoubt& doubt) {
    const PairPlace& best = places.front();
    const double m = request.reference_partial, n = request.pipe_partial;

    double total = 0.0, mean = 0.0, square = 0.0, positive = 0.0;
    for (const PairPlace& place : places) {
        const double weight = weight_of(place, best);
        const double beat = place.beat(request);
        total += weight;
        mean += weight * beat;
        square += weight * (beat * beat + variance(place, request, doubt));
        const double sure = beat / std::sqrt(variance(place, request, doubt));
        positive += weight * 0.5 * std::erfc(-sure / std::numbers::sqrt2);
    }
    const double beat = best.beat(request);
    // About the best place, not about the mean of all: that is the value given.
    const double spread = square / total - 2.0 * beat * mean / total + beat * beat;
    const double sd = std::sqrt(std::max(spread, 1e-12));
    positive /= total;

    BeatReading reading;
    reading.reference = Hertz{best.reference_hz};
    reading.pipe = Hertz{best.pipe_hz};
    reading.beat = Hertz{beat};
    reading.beat_sd = Hertz{sd};
    reading.cents = Cents{kCents * std::log(n * best.pipe_hz / (m * best.reference_hz))};
    constexpr double kSure = 0.0228;  // a value twice its uncertainty has its sign by this much
    if (std::abs(beat) < 2.0 * sd || std::min(positive, 1.0 - positive) > kSure)
        reading.under = Hertz{slower_than(places, request, doubt)};
    return reading;
}

std::optional<BeatReading> measure_pair(std::span<const float> samples,
                                        const PairRequest& request) {
    const PairPlan plan = plan_pair(samples, request);
    if (plan.lines.empty()) return std::nullopt;
    const std::vector<PairPlace> places =
        find_places(samples, request, plan, SearchEffort::exhaustive);
    if (places.empty() || !holds_two(places.front())) return std::nullopt;
    BeatReading reading = weigh(places, request, kOfMean);
    const double span_s = static_cast<double>(samples.size()) / request.rate.value();
    reading.perhaps_one = std::abs(reading.beat.value()) * span_s < kTurnsCounted &&
                          gain_of_two(samples, request, plan, places.front()) < kNoUnrest;
    if (reading.perhaps_one && !reading.under)
        reading.under = Hertz{std::abs(reading.beat.value())} + reading.beat_sd * 2.0;
    return reading;
}

}  // namespace rankwright::listening
