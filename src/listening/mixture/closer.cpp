#include "listening/mixture/closer.h"

#include "listening/arithmetic.h"
#include "listening/mixture/prior.h"

#include <algorithm>
#include <cmath>
#include <utility>
#include <vector>

namespace rankwright::listening {

namespace {

constexpr double kNear_cents = 1.2;  // beside a place
// Nearer to another, two explain its unrest better than one: in cents, as its partials stray, and
// in cycles over the span, as their levels do. Of a twin, which has nothing else to be heard by,
// and of a pipe that sounded a moment ago less is asked.
constexpr double kBeside_cents = 0.3, kStillBeside_cents = 0.12, kBeside_cycles = 0.3;
constexpr int kPartialsHeard = 20;
constexpr std::size_t kGainTerms = 6, kWanderTerms = 6;

struct Window {
    double low = 0.0, high = 0.0;  // cents
    bool holds(double cents) const { return cents >= low && cents <= high; }
};

// Do partials of both come within the reach of one another?
bool meet(const MixtureReach& one, const MixtureReach& other) {
    for (int k = 1; k * one.nominal_hz < one.highest_hz && k <= kPartialsHeard; ++k) {
        const double there = std::round(k * one.nominal_hz / other.nominal_hz);
        if (there >= 1.0 &&
            std::abs(there * other.nominal_hz / (k * one.nominal_hz) - 1.0) < 0.5 * kCent)
            return true;
    }
    return false;
}

std::vector<Window> windows_of(const MixtureState& state, std::span<const MixtureReach> reach,
                               std::size_t pipe, std::vector<double> places) {
    for (std::size_t i = 0; i < reach.size(); ++i)
        if (i != pipe && state.present[i] && meet(reach[pipe], reach[i]))
            places.push_back(state.unknowns[i]);
    std::sort(places.begin(), places.end());
    std::vector<Window> windows;
    for (const double place : places) {
        const Window one{std::max(place - kNear_cents, reach[pipe].low / kCent),
                         std::min(place + kNear_cents, reach[pipe].high / kCent)};
        if (one.low >= one.high) continue;
        if (!windows.empty() && one.low <= windows.back().high)
            windows.back().high = one.high;
        else
            windows.push_back(one);
    }
    return windows;
}

double beside_cents(const MixtureModel& model, std::size_t pipe, std::size_t other, bool still) {
    if (still) return kStillBeside_cents;
    if (model.twins(pipe, other)) return kBeside_cents;
    return std::max(kBeside_cents,
                    kBeside_cycles / (kCent * model.pipes[pipe].nominal_hz * model.span_s));
}

// There two explain one's unrest better than one, whether both sound or not.
bool beside_another(const MixtureFit& fit, const MixtureState& state, std::size_t pipe,
                    double cents, bool still) {
    for (std::size_t i = 0; i < state.present.size(); ++i)
        if (i != pipe && state.present[i] &&
            std::abs(state.unknowns[i * fit.terms()] - cents) <
                beside_cents(fit.model(), pipe, i, still))
            return true;
    return false;
}

// ln of how much better the bands are explained with the pipe at its best place than without it,
// into `evidence`: here the others' timbres count too. Which place is best isn't for that to say
// alone: where another pipe's partials are, two explain any unrest better than one.
void hear_jointly(MixtureFit& fit, const MixtureState& without, const std::vector<double>& places,
                  bool still, PresenceEvidence& evidence) {
    const std::size_t pipe = without.present.size() - 1, at = pipe * fit.terms();
    double best = -1e300;
    for (const double place : places) {
        MixtureState with = without;
        with.present[pipe] = 1;
        with.unknowns[at] = place;
        with.level[pipe] = std::log(usual_level(without, pipe));
        fit.refine(with, 5);
        // Of both, since another may have been drawn to where this one stands, or away.
        if (beside_another(fit, without, pipe, with.unknowns[at], still) &&
            beside_another(fit, with, pipe, with.unknowns[at], still))
            continue;
        const double more = with.evidence - without.evidence;
        const double likely = kJointWorth * more + evidence.ln_at(with.unknowns[at]);
        evidence.joint = std::max(evidence.joint.value_or(more), more);
        if (likely <= best) continue;
        best = likely;
        evidence.joint_cents = with.unknowns[at];
    }
    evidence.joint_ln = best;
}

PresenceEvidence look_at(const MixtureSound& sound, MixtureModel model, const MixtureState& state,
                         std::span<const MixtureReach> reach, std::size_t pipe,
                         const Window& window, std::optional<double> stood,
                         bool others_places = true) {
    // In full: what is left of the others' unrest would be taken for this pipe.
    model.gain_terms = kGainTerms;
    model.wander_terms = kWanderTerms;
    model.places_known = true;
    if (others_places) model.most_unrest = mixture_prior::kMostUnrest;
    std::vector<MixtureReach> near;
    std::vector<std::size_t> which;
    const std::vector<MixtureModel::Pipe> all = std::exchange(model.pipes, {});
    const double highest = std::min(0.45 * sound.rate.value(), 20000.0);
    for (std::size_t i = 0; i < reach.size(); ++i) {
        if (i == pipe || !state.present[i]) continue;
        MixtureReach r = reach[i];
        r.low = (state.unknowns[i] - kPlaceDoubt_cents) * kCent;
        r.high = (state.unknowns[i] + kPlaceDoubt_cents) * kCent;
        r.highest_hz = highest;
        near.push_back(r);
        which.push_back(i);
        model.pipes.push_back({r.nominal_hz, state.unknowns[i], kKnown_cents});
    }
    MixtureReach own = reach[pipe];
    own.low = window.low * kCent;
    own.high = window.high * kCent;
    own.highest_hz = std::min(highest, (kPartialsHeard + 0.5) * own.nominal_hz);
    near.push_back(own);
    model.pipes.push_back(all[pipe]);
    const std::vector<MixtureBand> bands = bands_around(sound, near, near.size() - 1);
    if (bands.empty()) return {};
    MixtureFit fit(bands, model);
    MixtureState without = fit.start_at(state, which);
    refine_in_place(fit, without, 5);
    PresenceEvidence evidence = presence_evidence(fit, without, which.size(), own,
                                                  usual_level(state, pipe), kPartialsHeard);
    std::vector<double> places{evidence.cents};
    if (stood && window.holds(*stood)) places.push_back(*stood);
    for (const std::size_t i : others_places ? which : std::vector<std::size_t>{})
        for (const double beside : {-0.3, 0.3})
            if (window.holds(state.unknowns[i] + beside))
                places.push_back(state.unknowns[i] + beside);
    hear_jointly(fit, without, places, !others_places, evidence);
    return evidence;
}

}  // namespace

PresenceEvidence look_closer(const MixtureSound& sound, const MixtureModel& model,
                             const MixtureState& state, std::span<const MixtureReach> reach,
                             std::size_t pipe, const PresenceEvidence& evidence,
                             std::optional<double> stood) {
    PresenceEvidence closer = evidence;
    std::vector<double> likely{evidence.cents};
    if (stood) likely.push_back(*stood);
    // No band of the search could be cut around it: among the others' known places they can.
    if (evidence.places.empty())
        for (double x = reach[pipe].low / kCent; x < reach[pipe].high / kCent;
             x += 2.0 * kNear_cents)
            likely.push_back(x);
    for (const Window& window : windows_of(state, reach, pipe, likely)) {
        const PresenceEvidence here = look_at(sound, model, state, reach, pipe, window, stood);
        if (here.places.empty()) continue;
        if (here.joint && (!closer.joint || here.joint_ln > closer.joint_ln)) {
            closer.joint_ln = here.joint_ln;
            closer.joint_cents = here.joint_cents;
        }
        if (here.joint) closer.joint = std::max(closer.joint.value_or(*here.joint), *here.joint);
        auto& places = closer.places;
        places.erase(std::remove_if(places.begin(), places.end(),
                                    [&](const auto& place) { return window.holds(place.cents); }),
                     places.end());
        places.insert(places.end(), here.places.begin(), here.places.end());
    }
    double best = -1e300;
    for (const auto& place : closer.places)
        if (place.ln_ratio + std::log(place.expected) > best) {
            best = place.ln_ratio + std::log(place.expected);
            closer.cents = place.cents;
        }
    closer.ln_ratio = integrate(closer.places);
    if (!closer.joint) {
        closer.joint = 0.0;
        closer.joint_cents = closer.cents;
    }
    return closer;
}

PresenceEvidence look_there(const MixtureSound& sound, const MixtureModel& model,
                            const MixtureState& state, std::span<const MixtureReach> reach,
                            std::size_t pipe, double stood) {
    const Window window{std::max(stood - kNear_cents, reach[pipe].low / kCent),
                        std::min(stood + kNear_cents, reach[pipe].high / kCent)};
    MixtureModel near = model;
    near.pipes[pipe].centre = stood;
    near.pipes[pipe].sd = kPlaceDoubt_cents;
    return look_at(sound, near, state, reach, pipe, window, stood, false);
}

}  // namespace rankwright::listening
