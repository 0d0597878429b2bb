#include "listening/pair/pair.h"

#include "listening/arithmetic.h"
#include "listening/pair/bands.h"
#include "listening/pair/fit.h"
#include "listening/pair/number.h"
#include "listening/pair/own.h"
#include "listening/pair/search.h"

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
constexpr PairDoubt kOfMean{1.0, 2.5e-8};

/// Through so long a span of a pipe in the middle compass its wander is followed, longer in the
/// bass. Simulated pipes with 0.3 cent of wander: at 784 Hz and above, of spans of five to twenty
/// seconds heard at once half were wrong or without an answer.
constexpr double kPart_s = 2.4;
constexpr double kPartBelow_hz = 400.0;
constexpr double kLongestPart_s = 10.0;
constexpr double kSlowPart_s = 4.8;
constexpr double kMostTimes = 40.0;
/// Each moment is heard in two parts.
constexpr double kOverlap = 2.0;
/// Parabolas side by side by half their length: 1 to 1.5 times as high.
constexpr double kUneven = 0.12;
/// By their shares in the mean.
constexpr double kMostly = 0.5;
constexpr double kOneSide = 0.75;

/// So many turns are no unrest of one pipe.
constexpr double kTurnsCounted = 2.5;

/// Of the beat: by the fit's curvature, or by how far the partials disagree if that is more.
double variance(const PairPlace& place, const PairRequest& request, const PairDoubt& doubt) {
    const double meets = request.reference_partial * request.reference.value();
    const double defined = doubt.defined_per_hz * meets * meets;
    const double curvature = place.beat_variance * (1.0 + (doubt.rustle - 1.0) * place.rustle);
    return std::max(curvature, place.scatter) + place.rustle * defined * defined;
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

namespace {

/// Of a span over which one path of few terms describes each tone's wander.
std::optional<BeatReading> measure_part(std::span<const float> samples, PairRequest request) {
    PairPlan plan = plan_pair(samples, request);
    if (plan.lines.empty()) return std::nullopt;
    const auto heard = contradicted_by_own(samples, request, plan);
    if (heard) {
        request.reference = *heard;
        request.reference_sd = {};  // but for its wander: what those partials tell is in the fit
        plan = plan_pair(samples, request);
    }
    const std::vector<PairPlace> places =
        find_places(samples, request, plan, SearchEffort::exhaustive);
    if (places.empty() || !holds_two(places.front()) ||
        lacks_own(samples, request, plan, places.front()))
        return std::nullopt;
    BeatReading reading = weigh(places, request, kOfMean);
    reading.reference_contradicted = heard.has_value();
    const double span_s = static_cast<double>(samples.size()) / request.rate.value();
    reading.perhaps_one = std::abs(reading.beat.value()) * span_s < kTurnsCounted &&
                          gain_of_two(samples, request, plan, places.front()) < kNoUnrest;
    if (reading.perhaps_one && !reading.under)
        reading.under = Hertz{std::abs(reading.beat.value())} + reading.beat_sd * 2.0;
    return reading;
}

/// A part of a longer span, with its share in the slope of a straight line through the phase over
/// all of it: a frequency counts there by its distance from both ends.
struct HeardPart {
    std::optional<BeatReading> reading;
    double share = 0.0;
};

/// As long as one in `times` of the span, each begun in the middle of the one before: in each, too,
/// a frequency counts less towards its ends.
std::vector<HeardPart> measure_parts(std::span<const float> samples, const PairRequest& request,
                                     std::size_t times) {
    if (times == 1) return {{measure_part(samples, request), 1.0}};
    std::vector<HeardPart> parts(2 * times - 1);
    double all = 0.0;
    for (std::size_t i = 0; i < parts.size(); ++i) {
        const std::size_t from = i * samples.size() / (2 * times);
        parts[i].reading = measure_part(samples.subspan(from, samples.size() / times), request);
        const double middle = static_cast<double>(i + 1) / static_cast<double>(2 * times);
        parts[i].share = middle * (1.0 - middle);
        all += parts[i].share;
    }
    for (HeardPart& part : parts)
        part.share /= all;
    return parts;
}

/// Share of the parts, of all heard or not, for which `asked` holds.
template <typename Asked>
double share_of(std::span<const HeardPart> parts, const Asked& asked) {
    double share = 0.0;
    for (const HeardPart& part : parts)
        if (part.reading && asked(*part.reading)) share += part.share;
    return share;
}

bool is_value(const BeatReading& reading) { return !reading.under; }

/// Their mean by their shares. Requires one that was heard.
BeatReading mean_of(std::span<const HeardPart> parts, const PairRequest& request) {
    const double all = share_of(parts, [](const BeatReading&) { return true; });
    const double m = request.reference_partial, n = request.pipe_partial;
    double reference = 0.0, pipe = 0.0, variance = 0.0, square = 0.0, slower = 0.0;
    for (const HeardPart& part : parts) {
        if (!part.reading) continue;
        const BeatReading& reading = *part.reading;
        const double share = part.share / all;
        reference += share * reading.reference.value();
        pipe += share * reading.pipe.value();
        variance += kOverlap * share * share * reading.beat_sd.value() * reading.beat_sd.value();
        square += share * reading.beat.value() * reading.beat.value();
        slower += share * reading.under.value_or(Hertz{std::abs(reading.beat.value())}).value();
    }
    BeatReading mean;
    mean.reference = Hertz{reference};
    mean.pipe = Hertz{pipe};
    mean.beat = Hertz{n * pipe - m * reference};
    // Together the parts weigh a frequency by so much more or less than the line does.
    const double strays = square - mean.beat.value() * mean.beat.value();
    variance +=
        kUneven * kUneven * std::max(0.0, strays) * kOverlap / static_cast<double>(parts.size());
    mean.beat_sd = Hertz{std::sqrt(variance)};
    mean.cents = Cents{kCents * std::log(n * pipe / (m * reference))};
    const double sharp = share_of(parts, [](const BeatReading& r) { return r.beat > Hertz{0.0}; });
    const double values = share_of(parts, is_value);
    const double other_side = std::min(sharp, all - sharp) / all;
    if (values < kMostly * all || other_side > 1.0 - kOneSide ||
        std::abs(mean.beat.value()) < 2.0 * mean.beat_sd.value())
        mean.under = Hertz{std::max(slower, std::abs(mean.beat.value()))} + mean.beat_sd * 2.0;
    const auto perhaps_one = [](const BeatReading& reading) { return reading.perhaps_one; };
    mean.perhaps_one = mean.under && share_of(parts, perhaps_one) > kMostly * all;
    const auto contradicted = [](const BeatReading& reading) {
        return reading.reference_contradicted;
    };
    mean.reference_contradicted = share_of(parts, contradicted) > kMostly * all;
    return mean;
}

}  // namespace

std::optional<BeatReading> measure_pair(std::span<const float> samples,
                                        const PairRequest& request) {
    const double span_s = static_cast<double>(samples.size()) / request.rate.value();
    const double meets_hz = request.reference_partial * request.reference.value();
    const double part_s = std::clamp(kPart_s * kPartBelow_hz / meets_hz, kPart_s, kLongestPart_s);
    std::vector<HeardPart> parts;
    // A beat too slow for a part may be told by one twice as long.
    for (const double length_s : {part_s, std::max(part_s, kSlowPart_s)}) {
        const auto times =
            static_cast<std::size_t>(std::clamp(std::round(span_s / length_s), 1.0, kMostTimes));
        if (parts.size() == 2 * times - 1) break;
        parts = measure_parts(samples, request, times);
        if (times == 1 || share_of(parts, is_value) > kMostly) break;
    }
    if (parts.size() == 1) return parts.front().reading;
    if (share_of(parts, [](const BeatReading&) { return true; }) < kMostly) return std::nullopt;
    return mean_of(parts, request);
}

}  // namespace rankwright::listening
