#include "listening/mixture_presence.h"

#include "listening/arithmetic.h"
#include "listening/mixture_prior.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>

namespace rankwright::listening {

namespace {

constexpr double kStep_cycles = 0.2;  // over the span: a line's width is about 1
/// Tails of what else may be found at a place: t in two degrees of freedom and their like.
constexpr double kNu = 2.0;
constexpr double kRival = 3.0;  // ln: two pipes as likely as this in one place aren't told apart
constexpr int kMostTries = 2;

/// What is heard where one partial of a pipe may be, on a grid over its reach.
struct PartialTrace {
    int partial = 1;
    double step = 1.0;  // fraction of the nominal pitch
    std::vector<double> power, variance;
};

/// A tone's power, more where it is more restless than usual and less where it is steadier.
double unrest(const MixtureState::Tone& tone) {
    constexpr double kLeast = 0.1, kMost = 10.0;
    const double found = std::max(tone.found, 1e-30);
    return found *
           std::clamp(tone.unrest * tone.power / (found * mixture_prior::kUnrest), kLeast, kMost);
}

double pitch_of(const MixtureFit& fit, const MixtureState& state, std::size_t pipe) {
    return fit.model().pipes[pipe].nominal_hz * (1.0 + kCent * state.unknowns[pipe * fit.terms()]);
}

std::vector<PartialTrace> trace_partials(MixtureFit& fit, const MixtureState& state,
                                         std::size_t pipe, const MixtureReach& reach, int highest) {
    std::vector<PartialTrace> traces;
    const double seconds = fit.model().span_s;
    for (const std::size_t b : fit.bands_of(pipe)) {
        const MixtureBand& band = fit.bands()[b];
        bool ready = false;
        for (const MixtureTone& own : band.tones) {
            if (own.pipe != pipe || own.partial > highest) continue;
            if (!ready) fit.hear_remainder(b, state);
            ready = true;
            PartialTrace trace;
            trace.partial = own.partial;
            const double hz = own.partial * reach.nominal_hz;
            trace.step = kStep_cycles / (seconds * hz);
            for (double x = reach.low; x < reach.high + trace.step; x += trace.step) {
                const MixtureExtraTone extra = fit.extra_tone(b, hz * (1.0 + x));
                double variance = extra.variance;
                for (std::size_t c = 0; c < band.tones.size(); ++c) {
                    const MixtureTone& other = band.tones[c];
                    if (!state.present[other.pipe]) continue;
                    const double apart =
                        hz * (1.0 + x) - other.partial * pitch_of(fit, state, other.pipe);
                    variance +=
                        unrest(state.bands[b].tones[c]) * mixture_prior::pedestal(apart * seconds);
                }
                trace.power.push_back(extra.power);
                trace.variance.push_back(variance);
            }
            traces.push_back(std::move(trace));
        }
    }
    return traces;
}

/// ln of the likelihood ratio for a partial expected at `level` (power), its timbre unknown. The
/// density of a tone's power y² where a variance v is expected goes as (1 + y²/νv)^−(ν+1) / v.
double ln_ratio(double power, double variance, double level) {
    constexpr int kPoints = 4;
    struct Point {
        double weight, times;  // of the level expected
    };
    static const auto points = [] {
        std::array<Point, 2 * kPoints + 1> all{};
        double sum = 0.0;
        for (int i = -kPoints; i <= kPoints; ++i) {
            Point& p = all[static_cast<std::size_t>(i + kPoints)];
            p = {std::exp(-mixture_prior::level_cost(1.25 * i)), std::exp(1.25 * i)};
            sum += p.weight;
        }
        for (Point& p : all)
            p.weight /= sum;
        return all;
    }();
    static_assert(kNu == 2.0, "the cube below is the power ν + 1");
    double sum = 0.0;
    for (const Point& p : points) {
        const double wider = variance + level * p.times;
        const double tail = (kNu * variance + power) / (kNu * wider + power);
        const double spread = wider / variance;
        sum += p.weight * tail * tail * tail * spread * spread;
    }
    return std::log(sum);
}

/// How loud a pipe may be beside the others, and how fast its partials fall.
struct Loudness {
    double db = 0.0;    // of its fundamental, from the other pipes' level
    double fall = 0.0;  // dB a factor of ten in the partial's number
    double ln_weight = 0.0;
};

// A pipe that sounds is about as loud as the others; one that leaks, some 30 dB softer. Partials
// fall from those of a reed to those of a wide flute.
std::vector<Loudness> loudnesses() {
    std::vector<Loudness> all;
    double sum = 0.0;
    for (double db = -48.0; db <= 27.0; db += 5.0) {
        const double loud = std::exp(-0.5 * std::pow(db / 10.0, 2.0)) / 10.0;
        const double leak = std::exp(-0.5 * std::pow((db + 30.0) / 9.0, 2.0)) / 9.0;
        for (const double fall : {10.0, 25.0, 40.0, 60.0}) {
            all.push_back({db, fall, std::log(loud + leak)});
            sum += loud + leak;
        }
    }
    for (Loudness& one : all)
        one.ln_weight -= std::log(sum);
    return all;
}

/// ln of the ratio for one partial at one place, by the level expected of it.
class RatioTable {
  public:
    void lay(double power, double variance, double level) {
        static const auto steps = [] {
            std::array<double, kLevels> all{};
            for (std::size_t i = 0; i < kLevels; ++i)
                all[i] = std::pow(10.0, 0.1 * (kLowest_db + kStep_db * static_cast<double>(i)));
            return all;
        }();
        for (std::size_t i = 0; i < kLevels; ++i)
            ln_[i] = ln_ratio(power, variance, level * steps[i]);
    }
    double at(double db) const {
        const double x =
            std::clamp((db - kLowest_db) / kStep_db, 0.0, static_cast<double>(kLevels) - 1.001);
        const auto i = static_cast<std::size_t>(x);
        return ln_[i] + (x - static_cast<double>(i)) * (ln_[i + 1] - ln_[i]);
    }

  private:
    static constexpr double kLowest_db = -90.0, kHighest_db = 30.0, kStep_db = 5.0;
    static constexpr auto kLevels =
        static_cast<std::size_t>((kHighest_db - kLowest_db) / kStep_db) + 1;
    std::array<double, kLevels> ln_{};
};

/// A partial's trace at the place looked at last: the grid of a low partial is coarse.
struct PartialThere {
    const PartialTrace* trace;
    double decades;
    std::size_t at = SIZE_MAX;
    RatioTable ratio{};

    void look(double x, double low, double level) {
        const auto i = std::min(trace->power.size() - 1,
                                static_cast<std::size_t>(std::lround((x - low) / trace->step)));
        if (i != at) ratio.lay(trace->power[i], trace->variance[i], level);
        at = i;
    }
};

}  // namespace

double integrate(std::span<const PresenceEvidence::Place> places) {
    double most = -1e300, sum = 0.0, expected = 0.0;
    for (const auto& place : places)
        most = std::max(most, place.ln_ratio);
    for (const auto& place : places) {
        expected += place.expected;
        sum += place.expected * std::exp(place.ln_ratio - most);
    }
    return expected > 0.0 ? most + std::log(sum / expected) : 0.0;
}

double PresenceEvidence::ln_at(double at) const {
    const auto nearer = [&](const Place& a, const Place& b) {
        return std::abs(a.cents - at) < std::abs(b.cents - at);
    };
    return places.empty() ? 0.0 : std::min_element(places.begin(), places.end(), nearer)->ln_ratio;
}

PresenceEvidence presence_evidence(MixtureFit& fit, const MixtureState& without, std::size_t pipe,
                                   const MixtureReach& reach, double level, int highest) {
    static const std::vector<Loudness> loud = loudnesses();
    const std::vector<PartialTrace> traces = trace_partials(fit, without, pipe, reach, highest);
    if (traces.empty()) return {};
    double step = 1.0;
    std::vector<PartialThere> partials;
    for (const PartialTrace& t : traces) {
        step = std::min(step, t.step);
        partials.push_back({&t, std::log10(static_cast<double>(t.partial))});
    }
    std::vector<double> terms(loud.size());
    const MixtureModel::Pipe& expected = fit.model().pipes[pipe];
    PresenceEvidence evidence;
    double best = -1e300;
    for (double x = reach.low; x <= reach.high; x += step) {
        const double u = (x / kCent - expected.centre) / expected.sd;
        const double weight = 1.0 / ((1.0 + u * u / 3.0) * (1.0 + u * u / 3.0));
        for (std::size_t i = 0; i < loud.size(); ++i)
            terms[i] = loud[i].ln_weight;
        for (PartialThere& there : partials) {
            there.look(x, reach.low, level);
            for (std::size_t i = 0; i < loud.size(); ++i)
                terms[i] += there.ratio.at(loud[i].db - loud[i].fall * there.decades);
        }
        const double shift = *std::max_element(terms.begin(), terms.end());
        double here = 0.0;
        for (const double term : terms)
            here += std::exp(term - shift);
        const double ln = std::log(here) + shift;
        evidence.places.push_back({x / kCent, weight * step, ln});
        if (ln + std::log(weight) > best) {
            best = ln + std::log(weight);
            evidence.cents = x / kCent;
        }
    }
    evidence.ln_ratio = integrate(evidence.places);
    return evidence;
}

double usual_level(const MixtureState& state, std::size_t pipe) {
    std::vector<double> levels;
    for (std::size_t j = 0; j < state.present.size(); ++j)
        if (j != pipe && state.present[j]) levels.push_back(state.level[j]);
    if (levels.empty()) return std::exp(state.level[pipe]);
    std::sort(levels.begin(), levels.end());
    return std::exp(levels[levels.size() / 2]);
}

void refine_in_place(MixtureFit& fit, MixtureState& state, int steps) {
    constexpr double kMoved_cycles = 0.3;
    MixtureState refined = state;
    fit.refine(refined, steps);
    for (std::size_t k = 0; k < state.present.size(); ++k) {
        const std::size_t at = k * fit.terms();
        const double moved = (refined.unknowns[at] - state.unknowns[at]) * kCent *
                             fit.model().pipes[k].nominal_hz * fit.model().span_s;
        if (!state.present[k] || std::abs(moved) < kMoved_cycles) continue;
        fit.refine(state, 0);
        return;
    }
    state = std::move(refined);
}

namespace {

class Judge {
  public:
    Judge(MixtureFit& fit, MixtureState& state, std::span<const MixtureReach> reach, int highest)
        : fit_(fit),
          state_(state),
          reach_(reach),
          highest_(highest),
          evidence_(reach.size()),
          rest_(reach.size()) {}

    std::vector<PresenceEvidence> judge() {
        fit_.refine(state_, 4);
        do
            take_out();
        while (put_in() || exchange() || move_one());
        return evidence_;
    }

  private:
    void place(MixtureState& state, std::size_t pipe, double cents, double level) const {
        state.present[pipe] = 1;
        std::fill_n(state.unknowns.begin() + static_cast<std::ptrdiff_t>(pipe * fit_.terms()),
                    fit_.terms(), 0.0);
        state.unknowns[pipe * fit_.terms()] = cents;
        state.level[pipe] = level;
    }

    MixtureState without(std::size_t pipe) const {
        MixtureState rest = state_;
        rest.present[pipe] = 0;
        refine_in_place(fit_, rest, 3);
        return rest;
    }

    bool sure(std::size_t pipe) const { return fit_.model().pipes[pipe].sure; }

    PresenceEvidence evidence(const MixtureState& rest, std::size_t pipe) const {
        return presence_evidence(fit_, rest, pipe, reach_[pipe], usual_level(state_, pipe),
                                 highest_);
    }

    // All pipes that others can stand in for: which of them are right shows when none is there.
    void take_out() {
        MixtureState rest = state_;
        for (std::size_t i = 0; i < reach_.size(); ++i) {
            if (!state_.present[i] || sure(i)) continue;
            rest_[i] = without(i);
            evidence_[i] = evidence(rest_[i], i);
            if (evidence_[i].ln_ratio < kSurelySounds) rest.present[i] = 0;
        }
        if (rest.present == state_.present) return;
        refine_in_place(fit_, rest, 4);
        state_ = std::move(rest);
        rest_.assign(reach_.size(), {});
    }

    // The most evident of the pipes that aren't there.
    bool put_in() {
        std::size_t most = reach_.size();
        for (std::size_t i = 0; i < reach_.size(); ++i) {
            if (state_.present[i]) continue;
            evidence_[i] = evidence(state_, i);
            if (evidence_[i].ln_ratio < kSurelySounds || tried_.at(i) >= kMostTries) continue;
            if (most == reach_.size() || evidence_[i].ln_ratio > evidence_[most].ln_ratio) most = i;
        }
        if (most == reach_.size()) return false;
        ++tried_.at(most);
        place(state_, most, evidence_[most].cents, std::log(usual_level(state_, most)));
        fit_.refine(state_, 4);
        return true;
    }

    bool might_be_another(std::size_t pipe) const {
        for (std::size_t k = 0; k < reach_.size(); ++k)
            if (!state_.present[k] && fit_.share_bands(pipe, k) && !fit_.model().twins(pipe, k))
                return true;
        return false;
    }

    // Whether a pipe that isn't there is likelier at the place of one that is; that one then gives
    // way. Undecided where it's nearly as likely and leaves the other nothing to show.
    bool exchange() {
        constexpr double kNear_cents = 1.0;
        for (std::size_t i = 0; i < reach_.size(); ++i) {
            if (!state_.present[i] || sure(i)) continue;
            const double there = state_.unknowns[i * fit_.terms()];
            if (!might_be_another(i)) continue;
            if (rest_[i].present.empty()) rest_[i] = without(i);
            const MixtureState& rest = rest_[i];
            for (std::size_t k = 0; k < reach_.size(); ++k) {
                if (state_.present[k] || !fit_.share_bands(i, k) || fit_.model().twins(i, k))
                    continue;
                const PresenceEvidence rival = evidence(rest, k);
                const double more = rival.ln_ratio - evidence_[i].ln_ratio;
                if (std::abs(rival.cents - there) > kNear_cents || more < -kRival) continue;
                MixtureState instead = rest;
                place(instead, k, rival.cents, state_.level[i]);
                refine_in_place(fit_, instead, 3);
                if (evidence(instead, i).ln_ratio >= kSurelySounds) continue;
                if (more > kRival && tried_.at(k) < kMostTries) {
                    ++tried_.at(k);
                    state_ = std::move(instead);
                    return true;
                }
                evidence_[i].rival = k;
            }
        }
        return false;
    }

    // A pipe that others kept from its likelier place goes there, so that what it explained instead
    // is free for another.
    bool move_one() {
        constexpr double kElsewhere_cycles = 1.0, kLikelier = 2.0;
        for (std::size_t i = 0; i < reach_.size(); ++i) {
            if (!state_.present[i] || sure(i) || tried_.at(i) >= kMostTries) continue;
            const double there = state_.unknowns[i * fit_.terms()], likelier = evidence_[i].cents;
            const double cycles =
                std::abs(likelier - there) * kCent * reach_[i].nominal_hz * fit_.model().span_s;
            if (cycles < kElsewhere_cycles ||
                evidence_[i].ln_at(likelier) < evidence_[i].ln_at(there) + kLikelier)
                continue;
            ++tried_.at(i);
            place(state_, i, likelier, state_.level[i]);
            fit_.refine(state_, 4);
            rest_.assign(reach_.size(), {});
            return true;
        }
        return false;
    }

    MixtureFit& fit_;
    MixtureState& state_;
    std::span<const MixtureReach> reach_;
    int highest_;
    std::vector<PresenceEvidence> evidence_;
    std::vector<MixtureState> rest_;  // `state_` without each pipe, where that is known
    std::array<int, 16> tried_{};
};

}  // namespace

std::vector<PresenceEvidence> judge_presence(MixtureFit& fit, MixtureState& state,
                                             std::span<const MixtureReach> reach, int highest) {
    return Judge(fit, state, reach, highest).judge();
}

Presence presence_by(const PresenceEvidence& evidence) {
    constexpr double kSounds = 0.6, kSilent = -1.8;  // of a closer look; from the same keys
    constexpr double kMayHide = 0.5;
    const double ln = evidence.ln_ratio + kJointWorth * evidence.joint.value_or(0.0);
    if (ln >= (evidence.joint ? kSounds : kSurelySounds)) return Presence::sounding;
    if (evidence.behind && evidence.behind->ln_ratio > kMayHide) return Presence::cannot_tell;
    return ln < (evidence.joint ? kSilent : kSurelySilent) ? Presence::silent
                                                           : Presence::cannot_tell;
}

}  // namespace rankwright::listening
