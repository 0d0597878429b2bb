// Which pipes of a key sound: judged together, then each that isn't sure looked at closer.
#include "listening/mixture/closer.h"
#include "listening/mixture/hearing.h"
#include "listening/mixture/prior.h"
#include "listening/mixture/shared.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

/// Nearer than this over the span, two explain the same line.
constexpr double kSameLine_cycles = 1.0;

}  // namespace

// With wander and more of the slow gains, so that little of a pipe's unrest is left to be taken for
// another pipe.
MixtureState KeyHearing::judge(const std::vector<MixtureBand>& bands, const MixtureState& found) {
    MixtureModel model = model_;
    model.wander_terms =
        static_cast<std::size_t>(std::clamp(std::round(1.7 * sound_.seconds), 2.0, 5.0));
    model.gain_terms = 3;
    model.most_unrest = mixture_prior::kMostUnrest;
    MixtureFit fit(bands, model);
    MixtureState state = fit.start();
    state.present = found.present;
    state.level = found.level;
    state.loud = found.loud;
    for (std::size_t j = 0; j < reach_.size(); ++j)
        state.unknowns[j * fit.terms()] = found.unknowns[j];
    std::vector<PresenceEvidence> evidence = judge_presence(fit, state, reach_, partials_asked());
    MixtureState places = found;
    places.present = state.present;
    places.level = state.level;
    places.loud = state.loud;
    for (std::size_t j = 0; j < reach_.size(); ++j)
        places.unknowns[j] = state.unknowns[j * fit.terms()];
    const std::vector<std::size_t> joined = put_in_missed(fit, model, evidence, places);
    std::vector<std::size_t> known(reach_.size(), 0);  // how many of those when a pipe was judged
    for (std::size_t i = 0; i < joined.size(); ++i)
        known[joined[i]] = i;
    for (std::size_t j = 0; j < reach_.size(); ++j)
        if (state.present[j] && look_closer_at(j, evidence[j], model, places))
            known[j] = joined.size();
    // What was taken for a pipe may have been partials of one that has joined since.
    for (std::size_t j = 0; j < reach_.size(); ++j) {
        const auto taken = [&](std::size_t other) {
            return other != j && fit.share_bands(j, other) &&
                   cycles(j, places.unknowns[j] - places.unknowns[other]) < kSameLine_cycles;
        };
        const auto since = joined.begin() + static_cast<std::ptrdiff_t>(known[j]);
        if (places.present[j] && std::any_of(since, joined.end(), taken))
            look_closer_at(j, evidence[j], model, places, true);
    }
    for (std::size_t j = 0; j < reach_.size(); ++j)
        readings_[j].evidence = judged_evidence(evidence[j]);
    doubt_contested(evidence);
    for (std::size_t j = 0; j < reach_.size(); ++j)
        untold_[j].evidence = std::move(evidence[j]);
    return places;
}

// Puts in those that were missed, the most evident first: what one explains isn't left for others
// to be drawn to. Returns which.
std::vector<std::size_t> KeyHearing::put_in_missed(const MixtureFit& fit, const MixtureModel& model,
                                                   std::vector<PresenceEvidence>& evidence,
                                                   MixtureState& places) {
    const std::size_t count = reach_.size();
    std::vector<std::size_t> joined;
    std::vector<PresenceEvidence> closer(count);
    std::vector<MixtureState> with(count);
    std::vector<char> judged = places.present;
    while (true) {
        std::size_t most = count;
        for (std::size_t j = 0; j < count; ++j) {
            if (places.present[j]) continue;
            if (!judged[j]) {
                closer[j] = evidence[j];
                with[j] = places;
                look_closer_at(j, closer[j], model, with[j]);
                judged[j] = 1;
            }
            if (readings_[j].presence == Presence::sounding &&
                (most == count || closer[j].ln_ratio > closer[most].ln_ratio))
                most = j;
        }
        if (most == count) break;
        for (std::size_t j = 0; j < count; ++j)
            if (explains_as_well(fit, closer, with, j, most)) contested_.emplace_back(most, j);
        places = with[most];
        joined.push_back(most);
        for (std::size_t j = 0; j < count; ++j)
            if (readings_[j].presence == Presence::sounding ||
                (readings_[j].presence == Presence::cannot_tell && fit.share_bands(j, most)))
                judged[j] = 0;
    }
    for (std::size_t j = 0; j < count; ++j)
        if (!with[j].present.empty()) evidence[j] = std::move(closer[j]);
    return joined;
}

// Whether a pipe that isn't there would explain what `most`, the most evident, explains.
bool KeyHearing::explains_as_well(const MixtureFit& fit,
                                  const std::vector<PresenceEvidence>& closer,
                                  const std::vector<MixtureState>& with, std::size_t j,
                                  std::size_t most) const {
    constexpr double kAsWell = 2.0;  // ln
    if (j == most || readings_[j].presence != Presence::sounding || with[j].present.empty() ||
        !with[j].present[j] || !fit.share_bands(j, most) || fit.model().twins(j, most))
        return false;
    return closer[j].ln_ratio > closer[most].ln_ratio - kAsWell &&
           cycles(j, with[j].unknowns[j] - with[most].unknowns[most]) < kSameLine_cycles;
}

// Of two that explained the same line as well, one was put in first. Where nothing is left for the
// other, that one may be it, and what is heard says as much for it as against it.
void KeyHearing::doubt_contested(std::vector<PresenceEvidence>& evidence) {
    std::vector<Presence> judged;
    for (const MixturePipeReading& reading : readings_)
        judged.push_back(reading.presence);
    for (const auto& [first, other] : contested_) {
        if (judged[first] != Presence::sounding || judged[other] == Presence::sounding) continue;
        evidence[other].rival = first;
        for (const std::size_t pipe : {first, other}) {
            readings_[pipe].presence = Presence::cannot_tell;
            readings_[pipe].evidence = 0.0;
        }
    }
}

// Whether the pipe, heard to sound a moment ago, is heard where it stood; puts it there then.
// `others` are the places without it.
bool KeyHearing::still_there(std::size_t j, const MixtureModel& model, const MixtureState& others,
                             MixtureState& places) {
    const double stood = places.present[j] ? places.unknowns[j] : request_.before[j]->value();
    const PresenceEvidence there = look_there(sound_, model, others, reach_, j, stood);
    if (presence_by(there, kStillSounds) != Presence::sounding) return false;
    if (!places.present[j]) {
        places.present[j] = 1;
        places.unknowns[j] = there.joint_cents;
        places.level[j] = places.loud[j] = std::log(usual_level(places, j));
    }
    return true;
}

// Those that aren't sure yet are heard again in more of their partials.
// `again`: sure or not. False when there was no need.
bool KeyHearing::look_closer_at(std::size_t j, PresenceEvidence& evidence,
                                const MixtureModel& model, MixtureState& places, bool again) {
    constexpr double kNoDoubt = 12.0, kNoDoubtBefore = 6.0, kNoHope = -6.0, kElsewhere_cycles = 1.0;
    Presence& presence = readings_[j].presence;
    if (model.pipes[j].sure) {
        presence = Presence::sounding;
        return true;
    }
    MixtureState others = places;
    others.present[j] = 0;
    if (evidence.rival) {
        others.present[*evidence.rival] = 1;
        others.unknowns[*evidence.rival] = places.unknowns[j];
        others.level[*evidence.rival] = places.level[j];
        others.loud[*evidence.rival] = places.loud[j];
    }
    const bool known = heard_before(j) && !evidence.rival;
    const bool doubtful = again || (evidence.ln_ratio < (known ? kNoDoubtBefore : kNoDoubt) &&
                                    evidence.ln_ratio > kNoHope);
    if (doubtful && known && still_there(j, model, others, places)) {
        presence = Presence::sounding;
        return true;
    }
    if (evidence.rival || doubtful)
        evidence =
            look_closer(sound_, model, others, reach_, j, evidence,
                        places.present[j] ? std::optional{places.unknowns[j]} : std::nullopt);
    if (doubtful) hear_behind(sound_, model, others, reach_, j, evidence);
    presence = evidence.rival && evidence.ln_ratio < kSurelySounds ? Presence::cannot_tell
                                                                   : presence_by(evidence);
    if (presence == Presence::sounding && evidence.likeliest_behind && !places.present[j]) {
        places.present[j] = 1;
        places.unknowns[j] = evidence.behind->cents;
        places.level[j] = places.loud[j] = std::log(usual_level(places, j));
        places.unknowns[evidence.behind->lower] = evidence.behind->lower_cents;
        return true;
    }
    const double place = evidence.likeliest_place();
    if (evidence.joint) likely_[j] = {evidence.cents};
    if (evidence.joint && places.present[j]) likely_[j].push_back(places.unknowns[j]);
    if (presence == Presence::sounding &&
        (!places.present[j] || cycles(j, place - places.unknowns[j]) > kElsewhere_cycles)) {
        places.unknowns[j] = place;
        places.level[j] = places.loud[j] = std::log(usual_level(places, j));
    }
    // One of two rivals explains what is heard, whichever it is.
    places.present[j] = presence == Presence::sounding || (evidence.rival && places.present[j]);
    return evidence.rival || doubtful;
}

}  // namespace rankwright::listening
