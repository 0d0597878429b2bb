#include "listening/mixture/mixture.h"

#include "listening/arithmetic.h"
#include "listening/converter.h"
#include "listening/mixture/hearing.h"
#include "listening/mixture/lines.h"
#include "listening/mixture/presence.h"
#include "listening/mixture/prior.h"
#include "listening/mixture/search.h"
#include "listening/mixture/strays.h"
#include "listening/mixture/twins.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

constexpr double kReach_cents = 16.0;
constexpr double kWideReach_cents = 25.0;  // where not all are found within the other
constexpr double kSpread_cents = 6.0;
constexpr double kReferenceReach_cents = 1.0;
constexpr double kReferenceSpread_cents = 0.05;
constexpr double kHeardReach_cents = 2.0;
constexpr double kHeardSpread_cents = 0.3;
/// Frames are less independent than they look; found from recorded keys by the errors' spread.
constexpr double kTemper = 0.25;
/// What counts of the fit's own doubt beside that by the slopes, found with kScatterCounts.
constexpr double kFitCounts = 0.5;
constexpr double kLeastSd_cents = 0.003;  // partials of one pipe differ by this in a room
constexpr double kDoubt_cents = 0.6;      // of the search's places, on either side

// The simple multiple of the unison that a reference stands nearest to, so that its deviation
// counts from where the pipes' do; its own pitch where it stands near none.
double pure_pitch(Hertz reference, Hertz unison) {
    constexpr double kNear_cents = 30.0;
    for (const double below : {1.0, 2.0, 3.0, 4.0}) {
        const double pure = std::round(reference / unison * below) / below * unison.value();
        if (pure > 0.0 && std::abs(reference.value() / pure - 1.0) < kNear_cents * kCent)
            return pure;
    }
    return reference.value();
}

}  // namespace

KeyHearing::KeyHearing(const MixtureSound& sound, const MixtureRequest& request, double reach_cents)
    : sound_(sound), request_(request) {
    model_.span_s = sound_.seconds;
    model_.temper = kTemper;
    const std::size_t count = request.pipes.size() + (request.reference ? 1 : 0);
    for (std::size_t j = 0; j < count; ++j) {
        const bool reference = j == request.pipes.size();
        MixtureReach r;
        r.nominal_hz = reference ? pure_pitch(*request.reference, request.unison)
                                 : request.pipes[j].value() * request.unison.value();
        const double centre =
            reference ? (request.reference->value() / r.nominal_hz - 1.0) / kCent : 0.0;
        r.high = (centre + (reference ? kReferenceReach_cents : reach_cents)) * kCent;
        r.low = (centre - (reference ? kReferenceReach_cents : reach_cents)) * kCent;
        r.highest_hz = std::min(
            {kTrueShare * request.rate.value(), kHighest_hz, (kHighestTold + 0.5) * r.nominal_hz});
        model_.pipes.push_back(
            {r.nominal_hz, centre, reference ? kReferenceSpread_cents : kSpread_cents, reference});
        if (request.heard && request.heard->pipe == j) {
            MixtureModel::Pipe& pipe = model_.pipes.back();
            pipe.centre = (request.heard->pitch.value() / r.nominal_hz - 1.0) / kCent;
            pipe.sd = kHeardSpread_cents;
            pipe.sure = true;
            r.low = (pipe.centre - kHeardReach_cents) * kCent;
            r.high = (pipe.centre + kHeardReach_cents) * kCent;
        }
        reach_.push_back(r);
    }
    forget();
}

void KeyHearing::forget() {
    readings_.assign(reach_.size(), {});
    for (std::size_t j = 0; j < request_.pipes.size(); ++j)
        readings_[j].ratio = request_.pipes[j];
    untold_.assign(reach_.size(), {});
    for (std::size_t j = 0; j < reach_.size(); ++j)
        untold_[j].reach = reach_[j];
    likely_.assign(reach_.size(), {});
    contested_.clear();
}

std::vector<MixtureState> KeyHearing::search(const std::vector<MixtureBand>& bands) const {
    MixtureModel model = model_;
    model.wander_terms = 0;
    model.gain_terms = 2;
    MixtureFit fit(bands, model);
    if (!request_.heard && request_.before.empty()) return search_mixture(fit, reach_);
    MixtureState state = fit.start();
    for (std::size_t j = 0; j < reach_.size(); ++j) {
        state.present[j] = model_.pipes[j].sure || heard_before(j);
        if (heard_before(j)) state.unknowns[j] = request_.before[j]->value();
    }
    fit.refine(state, 4);
    return {state};
}

// Bands around the places found, wander and slow gains in full. Returns where the pipes stand then.
MixtureState KeyHearing::refine(const MixtureState& found) {
    MixtureModel model = model_;
    model.pipes.clear();
    const auto within = [&](double each_second, double most) {
        return static_cast<std::size_t>(
            std::clamp(std::round(each_second * sound_.seconds), 2.0, most));
    };
    model.wander_terms = within(2.5, 8.0);
    model.gain_terms = within(1.6, 6.0);
    std::vector<MixtureReach> near;
    std::vector<std::size_t> which;
    std::vector<std::vector<double>> also;
    for (std::size_t j = 0; j < reach_.size(); ++j) {
        if (!found.present[j]) continue;
        MixtureReach r = reach_[j];
        r.low = (found.unknowns[j] - kDoubt_cents) * kCent;
        r.high = (found.unknowns[j] + kDoubt_cents) * kCent;
        r.highest_hz = std::min(kTrueShare * request_.rate.value(), kHighest_hz);
        near.push_back(r);
        which.push_back(j);
        also.push_back(likely_[j]);
        model.pipes.push_back(model_.pipes[j]);
    }
    if (which.empty()) return found;
    const std::vector<MixtureBand> bands = fine_bands(sound_, near);
    if (bands.empty()) return found;
    MixtureFit fit(bands, model);
    MixtureState state = fit.start_at(found, which);
    fit.refine(state, 8);
    polish_mixture(fit, state, near, 4, false, also);
    report(fit, state, which);
    MixtureState places = found;
    for (std::size_t i = 0; i < which.size(); ++i) {
        places.present[which[i]] = state.present[i];
        places.unknowns[which[i]] = state.unknowns[i * fit.terms()];
        places.level[which[i]] = state.level[i];
        places.loud[which[i]] = state.loud[i];
    }
    return places;
}

// Judged pipe by pipe, two may be left in one another's place, where no one pipe can go.
bool KeyHearing::swap(const std::vector<MixtureBand>& bands, MixtureState& places) const {
    MixtureModel model = model_;
    model.wander_terms = 0;
    model.gain_terms = 2;
    MixtureFit fit(bands, model);
    MixtureState state = fit.start();
    state.present = places.present;
    state.unknowns = places.unknowns;
    state.level = places.level;
    state.loud = places.loud;
    fit.refine(state, 2);
    // Nearer ones are tried in one another's place when they are refined.
    if (!swap_mixture(fit, state, reach_, kDoubt_cents, 4)) return false;
    places = std::move(state);
    return true;
}

bool KeyHearing::elsewhere(const MixtureState& refined, const MixtureState& found) const {
    constexpr double kElsewhere_cycles = 0.3;
    for (std::size_t j = 0; j < reach_.size(); ++j)
        if (refined.present[j] &&
            cycles(j, refined.unknowns[j] - found.unknowns[j]) > kElsewhere_cycles)
            return true;
    return false;
}

void KeyHearing::report(MixtureFit& fit, const MixtureState& state,
                        const std::vector<std::size_t>& which) {
    // Softer (ln of power) than 50 dB it may be another's unrest, than 70 dB the skirt of any line:
    // so much evidence (ln) is wanted. From recorded keys, and a neighbour's pipe alone.
    constexpr double kSoft = 11.5, kFarSofter = 16.1, kSoftWants = 4.0, kFarSofterWants = 12.0;
    const double strongest = strongest_line(sound_, reach_);
    const std::vector<double> c = fit.covariance(state);
    for (std::size_t i = 0; i < which.size(); ++i) {
        MixturePipeReading& r = readings_[which[i]];
        if (!state.present[i] || r.presence != Presence::sounding) continue;
        const double nominal = fit.model().pipes[i].nominal_hz;
        const double softer = std::log(std::max(usual_level(state, i), strongest)) - state.loud[i];
        // By what is heard where it stands, not where it was heard before others were put in.
        const double there = state.unknowns[i * fit.terms()];
        const double wanted = softer > kFarSofter ? kFarSofterWants : kSoftWants;
        const bool no_doubt = fit.model().pipes[i].sure || ln_beside(which[i], there) > wanted;
        if (!fit.stands_out(state, i) || (!no_doubt && softer > kSoft)) {
            r.presence = Presence::cannot_tell;
            r.untold = Untold::soft;
            continue;
        }
        const MixtureMean mean = fit.mean(state, i);
        r.cents = Cents{mean.cents};
        r.cents_sd = Cents{std::sqrt(kFitCounts * c[i * which.size() + i] + mean.variance +
                                     kLeastSd_cents * kLeastSd_cents)};
        r.hz = transpose(Hertz{nominal}, *r.cents);
        const MixtureHeard heard = fit.heard(state, i);
        untold_[which[i]].strongest_hz = heard.highest_strong * nominal;
        r.level = Decibels{10.0 * std::log10(4.0 * heard.power + 1e-12)};
    }
}

std::optional<MixtureReading> KeyHearing::read() {
    const std::vector<MixtureBand> bands = search_bands(sound_, reach_, partials_asked());
    if (bands.empty()) return std::nullopt;
    const std::vector<MixtureState> states = search(bands);
    MixtureState places = judge(bands, states.front());
    if (request_.before.empty() && swap(bands, places)) {
        forget();
        places = judge(bands, places);
    }
    const MixtureState refined = refine(places);
    // A pipe found elsewhere so late may have left to others what they don't sound for. Where the
    // key goes on, the next reading sees to that.
    if (request_.before.empty() && elsewhere(refined, places)) {
        forget();
        refine(judge(bands, refined));
    }
    name_unresolved(readings_, untold_, sound_.seconds);
    std::optional<std::size_t> heard;
    if (request_.heard) heard = request_.heard->pipe;
    judge_twins({readings_.data(), request_.pipes.size()}, heard);
    MixtureReading reading;
    reading.pipes = readings_;
    if (request_.reference) {
        reading.reference = readings_.back();
        if (reading.reference->hz)
            reading.reference->cents = interval(*request_.reference, *reading.reference->hz);
        reading.pipes.pop_back();
    }
    return reading;
}

namespace {

bool found_far_off(const MixtureReading& reading) {
    return std::any_of(reading.pipes.begin(), reading.pipes.end(), [](const auto& pipe) {
        return pipe.cents && std::abs(pipe.cents->value()) > kReach_cents;
    });
}

// What one search takes for a pipe and another doesn't, of the same sound, isn't told.
void doubt_unlike(MixtureReading& reading, const MixtureReading& other) {
    for (std::size_t j = 0; j < reading.pipes.size(); ++j) {
        MixturePipeReading& pipe = reading.pipes[j];
        const MixturePipeReading& unlike = other.pipes[j];
        const bool sounds = pipe.presence == Presence::sounding;
        if (pipe.twin || unlike.twin || pipe.presence == Presence::cannot_tell ||
            sounds == (unlike.presence == Presence::sounding))
            continue;
        MixturePipeReading open;
        open.ratio = pipe.ratio;
        open.presence = Presence::cannot_tell;
        open.untold = Untold::soft;
        if (unlike.untold) {
            open.untold = unlike.untold;
            open.unresolved_with = unlike.unresolved_with;
            open.to_part = unlike.to_part;
            open.mute_one = unlike.mute_one;
        }
        pipe = open;
    }
}

std::optional<MixtureReading> hear_key(const MixtureSound& sound, const MixtureRequest& request) {
    // The search is spared beside pipes that were heard.
    if (request.heard || !request.before.empty())
        return KeyHearing(sound, request, kWideReach_cents).read();
    auto reading = KeyHearing(sound, request, kReach_cents).read();
    const auto sounding = [](const MixtureReading& key) { return count(key, Presence::sounding); };
    if (reading && sounding(*reading) == request.pipes.size()) return reading;
    auto wide = KeyHearing(sound, request, kWideReach_cents).read();
    const bool wanted = wide && (!reading || sounding(*wide) > sounding(*reading) ||
                                 (found_far_off(*wide) && sounding(*wide) == sounding(*reading)));
    if (wanted) return wide;
    if (reading && wide) doubt_unlike(*reading, *wide);
    return reading;
}

}  // namespace

std::size_t count(const MixtureReading& reading, Presence presence) {
    return static_cast<std::size_t>(
        std::count_if(reading.pipes.begin(), reading.pipes.end(),
                      [&](const auto& pipe) { return pipe.presence == presence; }));
}

Seconds shortest_mixture_span(Hertz lowest) {
    constexpr double kShortest_s = 0.4, kFewestPeriods = 20.0;
    return Seconds{std::max(kShortest_s, kFewestPeriods / lowest.value())};
}

std::optional<MixtureReading> measure_mixture(std::span<const float> samples,
                                              const MixtureRequest& request) {
    if (request.pipes.empty() || request.pipes.size() > kMostMixturePipes ||
        !(request.unison.value() > 0.0))
        return std::nullopt;
    if (request.heard && request.heard->pipe >= request.pipes.size()) return std::nullopt;
    double lowest = request.pipes.front().value();
    for (const PureRatio& ratio : request.pipes)
        lowest = std::min(lowest, ratio.value());
    const double seconds = static_cast<double>(samples.size()) / request.rate.value();
    if (seconds < shortest_mixture_span(request.unison * lowest).count()) return std::nullopt;
    const MixtureSound sound(samples, request.rate);
    auto reading = hear_key(sound, request);
    if (reading) name_strays(*reading, sound, request);
    return reading;
}

}  // namespace rankwright::listening
