#include "listening/pair/search.h"

#include "listening/pair/candidates.h"
#include "listening/pair/fit.h"
#include "listening/pair/third.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace rankwright::listening {

namespace {

constexpr std::size_t kMostPairLines = 18;
/// A pipe's own rustle and wander pass for a second tone at −30 dB and less (recorded pipes); a
/// pipe 27 dB under the other can't be told from it.
constexpr double kWeakest = 0.002;
/// Over all lines, of which a reed has dozens that a flue beside it hasn't: recorded pairs have
/// −56 dB and more, a steady single tone −77 dB and less.
constexpr double kWeakestOfAll = 1e-6;
/// A tone's power over that of the noise in a band, over the whole span, to be looked at there.
constexpr double kToneStandsOut = 30.0;
constexpr int kWeighingSteps = 6;
constexpr std::size_t kSearchBands = 3;
constexpr int kSearchMeetings = 6;
constexpr std::size_t kSearchOwnBands = 2;
constexpr double kSearchOwn = 3.0;  // lower than this many meetings
constexpr std::size_t kSifted = 6;
constexpr std::size_t kSettled = 4;
/// A place so far below the best, in ln of evidence, isn't worth lines.
constexpr double kWorthLines = 30.0;
constexpr double kOnePlace = 0.05;  // turns in the span

double seconds(std::span<const float> samples, const PairRequest& request) {
    return static_cast<double>(samples.size()) / request.rate.value();
}

int meeting(const PairPlan::Line& line, const PairRequest& request) {
    if (line.reference_partial == 0 || line.pipe_partial == 0) return 0;
    return line.reference_partial / request.reference_partial;
}

bool unison(const PairRequest& request) {
    return request.reference_partial == request.pipe_partial;
}

/// A unison's state with the other tone for the reference.
void swap_pipes(PairState& state) {
    const auto half = static_cast<std::ptrdiff_t>(state.unknowns.size() / 2);
    std::rotate(state.unknowns.begin(), state.unknowns.begin() + half, state.unknowns.end());
    std::swap(state.wander[0], state.wander[1]);
    std::swap(state.unrest[0], state.unrest[1]);
    for (PairState::Band& band : state.bands) {
        std::swap(band.level[0], band.level[1]);
        std::swap(band.unrest[0], band.unrest[1]);
    }
}

/// Of states, best first, that have come to one place the best is left: others would settle there
/// once more, in the stead of places that need longer.
void keep_distinct(std::vector<PairState>& states, double span_s) {
    std::vector<PairState> distinct;
    for (PairState& state : states) {
        const std::size_t pipe = state.unknowns.size() / 2;
        const bool known = std::any_of(distinct.begin(), distinct.end(), [&](const PairState& d) {
            return std::abs(d.unknowns[0] - state.unknowns[0]) * span_s < kOnePlace &&
                   std::abs(d.unknowns[pipe] - state.unknowns[pipe]) * span_s < kOnePlace;
        });
        if (!known) distinct.push_back(std::move(state));
    }
    states = std::move(distinct);
}

struct Stage {
    std::size_t wander_terms, gain_terms;
    int steps;
    double keep;  ///< places this far below the best in evidence go on
    bool last;
};

PairModel model_at(const Stage& stage, const PairRequest& request, double span_s) {
    PairModel model = model_of(request, span_s);
    model.wander_terms = stage.wander_terms;
    model.gain_terms = stage.gain_terms;
    return model;
}

/// Refines every candidate on the bands; `answers`: with the means over the span and their doubt.
std::vector<PairPlace> refine(std::span<const PairBand> bands, const PairRequest& request,
                              const std::vector<PairCandidate>& candidates, double span_s,
                              const Stage& stage) {
    const PairModel model = model_at(stage, request, span_s);
    PairFit fit(bands, model);
    std::vector<PairState> states;
    for (const PairCandidate& candidate : candidates) {
        PairState state = fit.start(candidate.reference_offset, candidate.pipe_offset);
        fit.refine(state, stage.steps);
        if (std::isfinite(state.evidence)) states.push_back(std::move(state));
    }
    if (stage.last && !states.empty()) {
        std::sort(states.begin(), states.end(),
                  [](const PairState& a, const PairState& b) { return a.evidence > b.evidence; });
        // Which of two is better shows only when both have settled: wander is learned slowly. The
        // best also with the other one for the reference, wander and all.
        keep_distinct(states, span_s);
        if (states.size() > kSettled) states.resize(kSettled);
        if (unison(request)) {
            PairState other = states.front();
            swap_pipes(other);
            if (!far_fetched(other.unknowns[0], request)) states.push_back(std::move(other));
        }
        for (PairState& state : states)
            fit.refine(state, 2 * stage.steps);
    }
    std::vector<PairPlace> places;
    for (const PairState& state : states) {
        const PairPlace place = place_of(state, fit.answer(state), model, bands, request);
        if (std::isfinite(place.evidence) && std::isfinite(place.beat_variance))
            places.push_back(place);
    }
    std::sort(places.begin(), places.end(),
              [](const PairPlace& a, const PairPlace& b) { return a.evidence > b.evidence; });
    std::vector<PairPlace> kept;
    for (const PairPlace& place : places) {
        if (place.evidence < places.front().evidence - stage.keep) break;
        const bool known = std::any_of(kept.begin(), kept.end(), [&](const PairPlace& k) {
            const double near = 0.02 / span_s;
            return std::abs(k.found_hz[1] - place.found_hz[1]) < near &&
                   std::abs(k.found_hz[0] - place.found_hz[0]) < near;
        });
        if (!known) kept.push_back(place);
    }
    return kept;
}

}  // namespace

PairPlace place_of(const PairState& state, const PairAnswer& answer, const PairModel& model,
                   std::span<const PairBand> bands, const PairRequest& request) {
    const double m = request.reference_partial, n = request.pipe_partial;
    PairPlace place;
    place.reference_hz = model.nominal_hz[0] + answer.offset_hz[0];
    place.pipe_hz = model.nominal_hz[1] + answer.offset_hz[1];
    for (const std::size_t i : {std::size_t{0}, std::size_t{1}})
        place.found_hz[i] = model.nominal_hz[i] + answer.as_weighed_hz[i];
    place.beat_variance = m * m * answer.variance[0][0] + n * n * answer.variance[1][1] -
                          2.0 * m * n * answer.variance[0][1];
    place.scatter = m * m * answer.scatter[0] + n * n * answer.scatter[1];
    place.rustle = std::max(answer.rustle[0], answer.rustle[1]);
    place.evidence = state.evidence;
    for (std::size_t b = 0; b < bands.size(); ++b) {
        const PairLine& line = bands[b].line;
        for (const std::size_t i : {std::size_t{0}, std::size_t{1}}) {
            if ((i == 0 ? line.reference_partial : line.pipe_partial) == 0) continue;
            place.power[i] += state.bands[b].level[i];
            if (line.centre_hz < kLowestMeetings * m * request.reference.value())
                place.low_power[i] += state.bands[b].level[i];
        }
    }
    return place;
}

bool holds_two(const PairPlace& place, double times) {
    const auto weaker = [](const std::array<double, 2>& power) {
        const auto [less, more] = std::minmax(power[0], power[1]);
        return less / std::max(more, 1e-300);
    };
    return weaker(place.low_power) > times * kWeakest && weaker(place.power) > kWeakestOfAll;
}

namespace {

struct Beats {
    double low = 1e9, high = -1e9;
};

/// From the grid's places to settled ones, in two stages: few lines and terms first.
class Settling {
  public:
    Settling(std::span<const float> samples, const PairRequest& request, const PairPlan& plan,
             SearchEffort effort)
        : samples_(samples),
          request_(request),
          plan_(plan),
          effort_(effort),
          span_s_(seconds(samples, request)),
          stages_{{{terms(2.5, 2.0, 8.0), terms(1.2, 2.0, 4.0), 8, 70.0, false},
                   {terms(4.0, 3.0, 14.0), terms(2.0, 2.0, 6.0), 12, 30.0,
                    effort != SearchEffort::quick}}} {}

    /// The best first. `add`: also what the grid can't tell from its places.
    std::vector<PairPlace> settle(std::vector<PairCandidate> candidates, bool add);

  private:
    std::size_t terms(double a_second, double least, double most) const {
        return terms_over(span_s_, a_second, least, most);
    }
    std::vector<PairPlan::Line> lines(std::size_t stage, const Beats& beats) const;
    std::vector<PairBand> bands(std::size_t stage,
                                const std::vector<PairCandidate>& candidates) const;
    std::vector<PairCandidate> worth_lines(const std::vector<PairPlace>& places) const;
    Beats beats_of(const std::vector<PairCandidate>& candidates) const;
    std::vector<PairCandidate> sifted(const std::vector<PairBand>& bands, std::size_t stage,
                                      const std::vector<PairCandidate>& candidates) const;
    void add_others(std::vector<PairCandidate>& candidates) const;
    void weigh_lines(const PairCandidate& best);
    PairCandidate candidate(const PairPlace& place) const {
        const double f = request_.reference.value();
        return {place.found_hz[0] - f,
                place.found_hz[1] - f * request_.reference_partial / request_.pipe_partial,
                place.evidence};
    }

    std::span<const float> samples_;
    const PairRequest& request_;
    PairPlan plan_;  // its lines' information becomes that on the beat
    SearchEffort effort_;
    double span_s_;
    std::array<Stage, 2> stages_;
};

std::vector<PairPlace> Settling::settle(std::vector<PairCandidate> candidates, bool add) {
    std::vector<PairPlace> places;
    for (std::size_t s = 0; s < stages_.size(); ++s) {
        const std::vector<PairBand> heard = bands(s, candidates);
        if (heard.empty()) return places;
        if (candidates.size() > kMostPlaces) candidates = sifted(heard, s, candidates);
        places = refine(heard, request_, candidates, span_s_, stages_[s]);
        candidates.clear();
        for (const PairPlace& place : places)
            candidates.push_back(candidate(place));
        if (s > 0 || candidates.empty()) continue;
        weigh_lines(candidates.front());
        candidates = worth_lines(places);
        if (add) add_others(candidates);
    }
    return places;
}

/// Where the two meet, what a line says of the beat is limited by the tone that it says less of; it
/// says nothing where that one doesn't stand out of the other's rustle. A reed has dozens of
/// partials that the flue beside it hasn't: a second tone there explains nothing but rustle, though
/// better than all that the few low partials say.
void Settling::weigh_lines(const PairCandidate& best) {
    std::vector<PairBand> bands;
    std::vector<PairPlan::Line*> weighed;
    const double beat = request_.pipe_partial * best.pipe_offset -
                        request_.reference_partial * best.reference_offset;
    for (PairPlan::Line& line : plan_.lines) {
        if (meeting(line, request_) <= static_cast<int>(kLowMeetings)) continue;
        std::vector<PairBand> band = cut_bands(samples_, request_, plan_, {line}, beat, beat);
        if (band.empty()) continue;
        bands.push_back(std::move(band.front()));
        weighed.push_back(&line);
    }
    if (bands.empty()) return;
    PairFit fit(bands, model_at(stages_[0], request_, span_s_));
    PairState state = fit.start(best.reference_offset, best.pipe_offset);
    fit.refine(state, kWeighingSteps);
    for (std::size_t b = 0; b < bands.size(); ++b) {
        const PairState::Band& s = state.bands[b];
        const auto [less, more] = std::minmax(s.level[0], s.level[1]);
        const double noise = s.noise / static_cast<double>(bands[b].z.size());
        weighed[b]->information = less > std::max(kWeakest * more, kToneStandsOut * noise)
                                      ? information(*weighed[b], less / noise)
                                      : 0.0;
    }
}

Beats Settling::beats_of(const std::vector<PairCandidate>& candidates) const {
    Beats all;
    for (const PairCandidate& c : candidates) {
        const double beat =
            request_.pipe_partial * c.pipe_offset - request_.reference_partial * c.reference_offset;
        all.low = std::min(all.low, beat);
        all.high = std::max(all.high, beat);
    }
    return all;
}

/// Those that leave room for so wide bands.
std::vector<PairPlan::Line> Settling::lines(std::size_t stage, const Beats& beats) const {
    const double m = request_.reference_partial, n = request_.pipe_partial;
    std::vector<PairPlan::Line> lines;
    for (const auto& line : plan_.lines) {
        const double j = line.pipe_partial > 0 ? line.pipe_partial / n : 0.0;
        if (stage == 0 && line.hz > kLowestMeetings * m * request_.reference.value()) continue;
        const double wide = j * std::max(beats.high - beats.low, std::max(beats.high, -beats.low));
        if (wide > 1.6 * kReachOfSpacing * plan_.spacing_hz) continue;
        lines.push_back(line);
    }
    return stage == 0 ? most_informative(lines, 6) : telling_lines(lines, kMostPairLines);
}

/// Wide enough for the beats of all candidates.
std::vector<PairBand> Settling::bands(std::size_t stage,
                                      const std::vector<PairCandidate>& candidates) const {
    const Beats all = beats_of(candidates);
    return cut_bands(samples_, request_, plan_, lines(stage, all), all.low, all.high);
}

/// A place that beats fast leaves no room for bands at the partials that tell a slow beat best. One
/// far below the best, or whose second tone is no pipe, isn't worth them.
std::vector<PairCandidate> Settling::worth_lines(const std::vector<PairPlace>& places) const {
    std::vector<PairCandidate> all, near;
    for (const PairPlace& place : places) {
        all.push_back(candidate(place));
        const bool pipes = holds_two(place) || !holds_two(places.front());
        if (pipes && place.evidence > places.front().evidence - kWorthLines)
            near.push_back(candidate(place));
    }
    const auto usable = [&](const Beats& beats) {
        const std::vector<PairPlan::Line> chosen = lines(1, beats);
        return std::count_if(chosen.begin(), chosen.end(), [&](const PairPlan::Line& line) {
            return band_of(line, request_, plan_, beats.low, beats.high).has_value();
        });
    };
    return usable(beats_of(near)) > usable(beats_of(all)) ? near : all;
}

std::vector<PairCandidate> Settling::sifted(const std::vector<PairBand>& bands, std::size_t stage,
                                            const std::vector<PairCandidate>& candidates) const {
    const Stage sifting{stages_[stage].wander_terms, stages_[stage].gain_terms, 5, 4000.0, false};
    std::vector<PairCandidate> best;
    for (const PairPlace& p : refine(bands, request_, candidates, span_s_, sifting))
        if (best.size() < kSifted) best.push_back(candidate(p));
    return best;
}

void Settling::add_others(std::vector<PairCandidate>& candidates) const {
    if (unison(request_)) add_swapped(candidates, request_);
    add_mirrored(candidates, request_, span_s_);
    if (effort_ != SearchEffort::quick) add_slow(candidates, request_, span_s_);
}

/// The lowest meetings that the plan's beats leave apart.
std::vector<PairPlan::Line> low_meetings(const PairRequest& request, const PairPlan& plan) {
    std::vector<PairPlan::Line> low;
    for (const auto& line : plan.lines) {
        const int j = meeting(line, request);
        if (j >= 1 && j <= kSearchMeetings &&
            j * plan.reach_hz <= kReachOfSpacing * plan.spacing_hz)
            low.push_back(line);
    }
    return low;
}

/// What only one of them has says which is which.
void add_own(std::vector<PairPlan::Line>& lines, const PairRequest& request, const PairPlan& plan) {
    const double highest = kSearchOwn * request.reference_partial * request.reference.value();
    for (const bool of_pipe : {false, true}) {
        std::vector<PairPlan::Line> own;
        for (const auto& line : plan.lines) {
            const int k = of_pipe ? line.pipe_partial : line.reference_partial;
            if (meeting(line, request) == 0 && k > 0 && line.hz < highest) own.push_back(line);
        }
        own = most_informative(own, kSearchOwnBands);
        lines.insert(lines.end(), own.begin(), own.end());
    }
}

}  // namespace

std::vector<PairPlace> find_places(std::span<const float> samples, const PairRequest& request,
                                   const PairPlan& plan, SearchEffort effort) {
    const double span_s = seconds(samples, request);
    std::vector<PairPlan::Line> meetings = low_meetings(request, plan);
    if (meetings.empty()) return {};
    std::vector<PairPlan::Line> low = most_informative(meetings, kSearchBands);
    add_own(low, request, plan);
    const std::vector<PairBand> searched =
        cut_bands(samples, request, plan, low, -plan.reach_hz, plan.reach_hz);
    if (searched.empty()) return {};
    Settling settling(samples, request, plan, effort);
    std::vector<PairPlace> places = settling.settle(scan(searched, request, plan, span_s), true);
    if (effort == SearchEffort::exhaustive && !places.empty()) {
        meetings.resize(std::min(meetings.size(), kLowMeetings));
        const auto third =
            third_tone(cut_bands(samples, request, plan, meetings, -plan.reach_hz, plan.reach_hz),
                       request, places.front(), span_s);
        if (!third.empty()) places = settling.settle(third, false);
    }
    return places;
}

}  // namespace rankwright::listening
