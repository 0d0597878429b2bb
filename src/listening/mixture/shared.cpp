#include "listening/mixture/shared.h"

#include "listening/arithmetic.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace rankwright::listening {

namespace {

/// Of a pipe whose pitch is a multiple of a lower one's.
struct SharedPartials {
    double lower_cents = 0.0;   ///< where the lower pipe's own partials stand
    double shared_cents = 0.0;  ///< where those stand that both may have
    /// ln of how much likelier they are when both pipes sound within kCoincide_cents of one another
    /// than when the lower one sounds alone.
    double ln_ratio = 0.0;
    bool as_loud = false;  ///< as PresenceEvidence::Behind
};

constexpr std::size_t kSharedGainTerms = 4, kSharedWanderTerms = 6;
// Of one pipe's partials, from recorded pipes: what they differ by in the mean over a span, and how
// far, in radians, a partial's phase drifts from the others'.
constexpr double kScatter_cents = 0.02;
constexpr double kDrift_radians = 0.1;
constexpr double kSharedScatter = 3.0;  // partials' worth that this is known beforehand
constexpr double kWorst_cents = 0.2;    // partials in more doubt aren't asked
constexpr double kSoftest_db = -60.0;   // nor softer ones, from the loudest
constexpr double kFreedom = 5.0;        // of the tails of what is compared
// The power of a partial from that of its pipe's loudest beside it.
constexpr double kBelow = 0.126;  // -9 dB
constexpr double kBelowSpread_db = 8.0, kOwnSpread_db = 3.0;

/// ln of Student's density but for a constant factor.
double ln_student(double x, double scale) {
    return -0.5 * (kFreedom + 1.0) * std::log1p(x * x / (kFreedom * scale * scale)) -
           std::log(scale);
}

double decibels(double power) { return 10.0 * std::log10(power + 1e-30); }

struct Group {
    double mean = 0.0, variance = 0.0;
    double apart = 0.0;  ///< χ² of the slopes about their mean
    double freedom = 0.0;
};

std::optional<Group> group_of(const std::vector<MixturePartial>& partials, double drift_cents,
                              double softest) {
    Group group;
    double sum = 0.0;
    const auto weight = [&](const MixturePartial& p) {
        const double drift = drift_cents / p.partial;
        const bool asked = p.variance < kWorst_cents * kWorst_cents && p.found > softest;
        return asked ? 1.0 / (p.variance + drift * drift + kScatter_cents * kScatter_cents) : 0.0;
    };
    for (const MixturePartial& p : partials) {
        sum += weight(p);
        group.mean += weight(p) * p.cents;
        group.freedom += weight(p) > 0.0 ? 1.0 : 0.0;
    }
    if (!(sum > 0.0)) return std::nullopt;
    group.mean /= sum;
    group.variance = 1.0 / sum;
    group.freedom -= 1.0;
    for (const MixturePartial& p : partials)
        group.apart += weight(p) * (p.cents - group.mean) * (p.cents - group.mean);
    return group;
}

/// ln of how much likelier two pipes a little apart are than one, by where the partials stand.
double ln_ratio_of_places(const Group& own, const Group& shared) {
    const double scatter = (own.apart + shared.apart + kSharedScatter) /
                           (own.freedom + shared.freedom + kSharedScatter);
    const double narrow = std::sqrt((own.variance + shared.variance) * scatter);
    constexpr double kApart_cents = 0.5 * kCoincide_cents;
    const double apart = shared.mean - own.mean;
    return ln_student(apart, std::hypot(narrow, kApart_cents)) - ln_student(apart, narrow);
}

/// The same by the level (dB) of the lowest shared partial; `alone`: what is expected of it where
/// the pipe is silent.
double ln_ratio_of_levels(double shared, double alone, double usual) {
    // A pipe is as loud as others or leaks, or the lower one leaks beside it.
    const auto expected = [&](double db) {
        const auto bell = [&](double middle, double sd) {
            return std::exp(-0.5 * std::pow((db - middle) / sd, 2.0)) / sd;
        };
        return bell(0.0, 10.0) + bell(-30.0, 9.0) + 0.2 * bell(30.0, 9.0);
    };
    double likely = 0.0, sum = 0.0;
    for (int step = -16; step <= 18; ++step) {
        const double db = 3.0 * step;
        const double one = std::pow(10.0, 0.1 * alone), other = std::pow(10.0, 0.1 * (usual + db));
        const double share = other / (one + other);
        const double spread = kBelowSpread_db + share * (kOwnSpread_db - kBelowSpread_db);
        likely += expected(db) * std::exp(ln_student(shared - decibels(one + other), spread));
        sum += expected(db);
    }
    return std::log(likely / sum) - ln_student(shared - alone, kBelowSpread_db);
}

/// What stands where the lowest of the shared partials does.
struct SharedLine {
    double power = 0.0;      ///< of all pipes together: one line can't be parted among them
    double of_others = 0.0;  ///< expected of those beside the lower pipe
    bool together = false;   ///< most of the key's pipes stand within kCoincide_cents of it
};

/// Of a lower pipe's partials every `times`-th may be another's, too. Cents from the pipe's path.
std::optional<SharedPartials> compare(const std::vector<MixturePartial>& partials, int times,
                                      double drift_cents, const SharedLine& line, double usual) {
    std::vector<MixturePartial> own, shared;
    double loudest = 0.0, loudest_own = 0.0;
    for (const MixturePartial& p : partials) {
        const bool both = p.partial % times == 0;
        (both ? shared : own).push_back(p);
        loudest = std::max(loudest, p.found);
        if (!both) loudest_own = std::max(loudest_own, p.found);
    }
    const double softest = loudest * std::pow(10.0, 0.1 * kSoftest_db);
    const auto of_own = group_of(own, drift_cents, softest);
    const auto of_shared = group_of(shared, drift_cents, softest);
    if (!of_own || !of_shared || !(line.power > 0.0)) return std::nullopt;
    // Clearly sounding: within 12 dB of the others.
    constexpr double kAsLoud = 1.0 / 16.0, kLouder = 3.0;
    const double alone = kBelow * loudest_own + line.of_others;
    return SharedPartials{
        of_own->mean, of_shared->mean,
        ln_ratio_of_places(*of_own, *of_shared) +
            ln_ratio_of_levels(decibels(line.power), decibels(alone), decibels(usual)),
        line.together && line.power > kAsLoud * usual && line.power > kLouder * alone};
}

/// Which partial of `other` stands where this one of the lower pipe does; 0: none.
int partial_met(const MixtureModel& model, std::size_t lower, int partial, std::size_t other) {
    const MixtureModel::Pipe &one = model.pipes[lower], &another = model.pipes[other];
    const double times = partial * one.nominal_hz / another.nominal_hz;
    const bool meets = other != lower && times > 0.5 &&
                       std::abs(times - std::round(times)) < 0.5 * kCent * times &&
                       std::abs(another.centre - one.centre) < kCoincide_cents;
    return meets ? static_cast<int>(std::lround(times)) : 0;
}

bool met_by_others(const MixtureModel& model, std::size_t lower, int partial) {
    for (std::size_t i = 0; i < model.pipes.size(); ++i)
        if (partial_met(model, lower, partial, i) > 0) return true;
    return false;
}

/// Whether all partials of `pipe` meet partials of `lower`.
bool may_hide_behind(std::span<const MixtureReach> reach, std::size_t pipe, std::size_t lower) {
    constexpr double kSame = 1e-6;
    const double times = reach[pipe].nominal_hz / reach[lower].nominal_hz;
    return times > 1.5 && std::abs(times - std::round(times)) < kSame * times;
}

/// Empty where the lower pipe has too little to compare. `usual`: power that a fundamental may be
/// expected to have.
std::optional<SharedPartials> compare_shared(const MixtureSound& sound, const MixtureModel& model,
                                             const MixtureState& state,
                                             std::span<const MixtureReach> reach, std::size_t lower,
                                             std::size_t pipe, double usual) {
    MixtureModel beside = model;
    beside.gain_terms = kSharedGainTerms;
    beside.wander_terms = kSharedWanderTerms;
    beside.pipes.clear();
    std::vector<MixtureReach> near;
    std::vector<std::size_t> which;
    std::size_t at = 0;
    for (std::size_t i = 0; i < reach.size(); ++i) {
        if (i == pipe || !state.present[i]) continue;
        MixtureReach r = reach[i];
        r.low = (state.unknowns[i] - kPlaceDoubt_cents) * kCent;
        r.high = (state.unknowns[i] + kPlaceDoubt_cents) * kCent;
        r.highest_hz = std::min(0.45 * sound.rate.value(), 20000.0);
        if (i == lower) at = near.size();
        near.push_back(r);
        which.push_back(i);
        beside.pipes.push_back({r.nominal_hz, state.unknowns[i], kKnown_cents});
    }
    const std::vector<MixtureBand> bands = bands_around(sound, near, at);
    const auto times =
        static_cast<int>(std::lround(reach[pipe].nominal_hz / reach[lower].nominal_hz));
    std::vector<char> own_bands(bands.size(), 1);
    for (std::size_t b = 0; b < bands.size(); ++b)
        for (const MixtureTone& tone : bands[b].tones)
            if (tone.pipe == at && tone.partial % times == 0) own_bands[b] = 0;
    MixtureFit fit(bands, beside);
    MixtureState there = fit.start_at(state, which);
    fit.use(own_bands);
    fit.refine(there, 6);
    fit.use(std::vector<char>(bands.size(), 1));
    fit.settle(there, 3);
    std::vector<MixturePartial> asked;
    for (const MixturePartial& p : fit.partials(there, at))
        if (p.partial % times == 0 || !met_by_others(beside, at, p.partial)) asked.push_back(p);
    const double drift_cents =
        kDrift_radians / (kTurn * kCent * reach[lower].nominal_hz * sound.seconds);
    const double hz =
        times * reach[lower].nominal_hz * (1.0 + kCent * there.unknowns[at * fit.terms()]);
    SharedLine line{.power = fit.power_at(there, hz, kCoincide_cents * kCent * hz)};
    std::size_t together = 0;
    for (std::size_t i = 0; i < near.size(); ++i) {
        if (const int met = partial_met(beside, at, times, i); met > 0)
            line.of_others += (met > 1 ? kBelow : 1.0) * std::exp(state.loud[which[i]]);
        const double apart = beside.pipes[i].centre - beside.pipes[at].centre;
        if (i != at && std::abs(apart) < kCoincide_cents) ++together;
    }
    line.together = 2 * together >= near.size();
    std::optional<SharedPartials> found = compare(asked, times, drift_cents, line, usual);
    if (!found) return std::nullopt;
    const double path = fit.mean_path(there, at);
    found->lower_cents += path;
    found->shared_cents += path;
    return found;
}

}  // namespace

void hear_behind(const MixtureSound& sound, const MixtureModel& model, const MixtureState& state,
                 std::span<const MixtureReach> reach, std::size_t pipe,
                 PresenceEvidence& evidence) {
    const double usual = usual_level(state, pipe);
    for (std::size_t i = 0; i < reach.size(); ++i) {
        if (!state.present[i] || !may_hide_behind(reach, pipe, i)) continue;
        const auto shared = compare_shared(sound, model, state, reach, i, pipe, usual);
        if (!shared) continue;
        for (auto& place : evidence.places)
            if (std::abs(place.cents - shared->lower_cents) < kCoincide_cents)
                place.ln_ratio += shared->ln_ratio;
        const bool as_loud = shared->as_loud || (evidence.behind && evidence.behind->as_loud);
        if (!evidence.behind || shared->ln_ratio > evidence.behind->ln_ratio)
            evidence.behind = PresenceEvidence::Behind{i, shared->lower_cents, shared->shared_cents,
                                                       shared->ln_ratio, false};
        evidence.behind->as_loud = as_loud;
    }
    if (evidence.places.empty()) return;
    evidence.ln_ratio = integrate(evidence.places);
    const auto likely = [](const auto& place) { return place.ln_ratio + std::log(place.expected); };
    const auto best =
        std::max_element(evidence.places.begin(), evidence.places.end(),
                         [&](const auto& a, const auto& b) { return likely(a) < likely(b); });
    evidence.cents = best->cents;
    evidence.likeliest_behind =
        evidence.behind && evidence.behind->ln_ratio > 0.0 &&
        std::abs(best->cents - evidence.behind->lower_cents) < kCoincide_cents;
}

}  // namespace rankwright::listening
