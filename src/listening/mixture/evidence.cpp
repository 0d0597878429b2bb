// How much more likely the sound is when a pipe sounds than when it is silent.
#include "listening/arithmetic.h"
#include "listening/mixture/presence.h"
#include "listening/mixture/prior.h"
#include "listening/wide_registers.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>

namespace rankwright::listening {

namespace {

constexpr double kStep_cycles = 0.2;  // over the span: a line's width is about 1
/// Tails of what else may be found at a place: t in two degrees of freedom and their like.
constexpr double kNu = 2.0;
constexpr double kLevelStep_db = 5.0;  // little beside how far partials' levels are spread
/// A pipe has partials up to some number, flutes few: as likely as not up to sixteen times any
/// number that it reaches.
constexpr double kReachFall = 0.25;

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
                        unrest(state.bands[b].tones[c]) *
                        (fit.model().places_known ? mixture_prior::far_unrest(apart * seconds)
                                                  : mixture_prior::pedestal(apart * seconds));
                }
                trace.power.push_back(extra.power);
                trace.variance.push_back(variance);
            }
            traces.push_back(std::move(trace));
        }
    }
    return traces;
}

// How loud a pipe may be beside the others, and how fast its partials fall: one that sounds is
// about as loud as the others; one that leaks, some 30 dB softer. Partials fall from those of a
// reed to those of a wide flute.
constexpr std::size_t kLoudnesses = 16;
constexpr double kSoftestPipe_db = -48.0;  // of the fundamental, from the others' level
constexpr std::array kTimbreFalls{10.0, 25.0, 40.0,
                                  60.0};  // dB a factor of ten in a partial's number

/// Weights of the loudnesses, kLevelStep_db apart; the falls are alike.
std::array<double, kLoudnesses> loudness_weights() {
    std::array<double, kLoudnesses> weights{};
    double sum = 0.0;
    for (std::size_t i = 0; i < kLoudnesses; ++i) {
        const double db = kSoftestPipe_db + kLevelStep_db * static_cast<double>(i);
        const double loud = std::exp(-0.5 * std::pow(db / 10.0, 2.0)) / 10.0;
        const double leak = std::exp(-0.5 * std::pow((db + 30.0) / 9.0, 2.0)) / 9.0;
        weights[i] = loud + leak;
        sum += weights[i];
    }
    for (double& weight : weights)
        weight /= sum * static_cast<double>(kTimbreFalls.size());
    return weights;
}

constexpr double kLowest_db = -130.0, kHighest_db = 30.0;
constexpr auto kLevels = static_cast<std::size_t>((kHighest_db - kLowest_db) / kLevelStep_db) + 1;
/// The ratio for one partial at one place, by the level expected of it in steps of kLevelStep_db.
using RatioTable = std::array<double, kLevels>;

constexpr int kTimbres = 4;
/// How likely a partial is louder than expected by as much, its timbre unknown.
struct Timbre {
    double weight, times;
};
using Timbres = std::array<Timbre, 2 * kTimbres + 1>;

Timbres timbres() {
    Timbres all{};
    double sum = 0.0;
    for (int i = -kTimbres; i <= kTimbres; ++i) {
        Timbre& t = all[static_cast<std::size_t>(i + kTimbres)];
        t = {std::exp(-mixture_prior::level_cost(1.25 * i)), std::exp(1.25 * i)};
        sum += t.weight;
    }
    for (Timbre& t : all)
        t.weight /= sum;
    return all;
}

/// The density of a tone's power y² where a variance v is expected goes as (1 + y²/νv)^−(ν+1) / v.
RANKWRIGHT_WIDE void lay_ratios(const Timbres& timbres, const RatioTable& levels, double power,
                                double variance, RatioTable& ratios) {
    static_assert(kNu == 2.0, "the cube below is the power ν + 1");
    ratios.fill(0.0);
    const double usual = kNu * variance + power, over = 1.0 / variance;
    for (const Timbre& t : timbres)
        for (std::size_t i = 0; i < kLevels; ++i) {
            const double wider = variance + levels[i] * t.times;
            const double tail = usual / (kNu * wider + power);
            const double spread = wider * over;
            ratios[i] += t.weight * tail * tail * tail * spread * spread;
        }
}

/// A partial's trace at the place looked at last: the grid of a low partial is coarse.
struct PartialThere {
    const PartialTrace* trace;
    double goes_on = 0.0;  // likelihood of a partial as high as the next one, if this is
    /// Of the softest loudness in the table, by fall: the louder ones follow.
    std::array<std::size_t, kTimbreFalls.size()> softest{};
    std::size_t at = SIZE_MAX;
    RatioTable ratio{};

    void look(double x, double low, double level) {
        static const Timbres all = timbres();
        const auto i = std::min(trace->power.size() - 1,
                                static_cast<std::size_t>(std::lround((x - low) / trace->step)));
        if (i == at) return;
        at = i;
        RatioTable levels;
        for (std::size_t l = 0; l < kLevels; ++l)
            levels[l] = level * steps()[l];
        lay_ratios(all, levels, trace->power[i], trace->variance[i], ratio);
    }

  private:
    static const RatioTable& steps() {
        static const RatioTable all = [] {
            RatioTable powers{};
            for (std::size_t i = 0; i < kLevels; ++i)
                powers[i] =
                    std::pow(10.0, 0.1 * (kLowest_db + kLevelStep_db * static_cast<double>(i)));
            return powers;
        }();
        return all;
    }
};

/// The ratio of a pipe whose partials fall so, by its loudness, summed by `weights`.
RANKWRIGHT_WIDE double sum_loudnesses(const std::vector<PartialThere>& partials, std::size_t fall,
                                      const std::array<double, kLoudnesses>& weights) {
    std::array<double, kLoudnesses> ratio;
    ratio.fill(1.0);
    for (auto there = partials.rbegin(); there != partials.rend(); ++there) {
        const double* here = &there->ratio[there->softest[fall]];
        for (std::size_t i = 0; i < kLoudnesses; ++i)
            ratio[i] = here[i] * (1.0 - there->goes_on + there->goes_on * ratio[i]);
    }
    double sum = 0.0;
    for (std::size_t i = 0; i < kLoudnesses; ++i)
        sum += weights[i] * ratio[i];
    return sum;
}

std::vector<PartialThere> lay_out(const std::vector<PartialTrace>& traces) {
    std::vector<PartialThere> partials;
    for (const PartialTrace& t : traces) {
        PartialThere there{.trace = &t};
        for (std::size_t i = 0; i < kTimbreFalls.size(); ++i) {
            const double db = kSoftestPipe_db - kTimbreFalls[i] * std::log10(t.partial);
            there.softest[i] = static_cast<std::size_t>(
                std::max(0L, std::lround((db - kLowest_db) / kLevelStep_db)));
        }
        partials.push_back(there);
    }
    std::sort(partials.begin(), partials.end(),
              [](const auto& a, const auto& b) { return a.trace->partial < b.trace->partial; });
    for (std::size_t i = 0; i + 1 < partials.size(); ++i)
        partials[i].goes_on = std::pow(
            static_cast<double>(partials[i].trace->partial) / partials[i + 1].trace->partial,
            kReachFall);
    return partials;
}

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

double PresenceEvidence::most_ln_near(double at, double within) const {
    double most = ln_at(at);
    for (const Place& place : places)
        if (std::abs(place.cents - at) < within) most = std::max(most, place.ln_ratio);
    return most;
}

double PresenceEvidence::likeliest_place() const {
    constexpr double kFarLikelier = 3.0;
    if (!joint) return cents;
    return ln_at(cents) > joint_ln + kFarLikelier ? cents : joint_cents;
}

PresenceEvidence presence_evidence(MixtureFit& fit, const MixtureState& without, std::size_t pipe,
                                   const MixtureReach& reach, double level, int highest) {
    static const std::array<double, kLoudnesses> loud = loudness_weights();
    const std::vector<PartialTrace> traces = trace_partials(fit, without, pipe, reach, highest);
    if (traces.empty()) return {};
    double step = 1.0;
    for (const PartialTrace& t : traces)
        step = std::min(step, t.step);
    std::vector<PartialThere> partials = lay_out(traces);
    const MixtureModel::Pipe& expected = fit.model().pipes[pipe];
    PresenceEvidence evidence;
    double best = -1e300;
    for (double x = reach.low; x <= reach.high; x += step) {
        const double u = (x / kCent - expected.centre) / expected.sd;
        const double weight = 1.0 / ((1.0 + u * u / 3.0) * (1.0 + u * u / 3.0));
        for (PartialThere& there : partials)
            there.look(x, reach.low, level);
        double here = 0.0;
        for (std::size_t fall = 0; fall < kTimbreFalls.size(); ++fall)
            here += sum_loudnesses(partials, fall, loud);
        const double ln = std::log(here);
        evidence.places.push_back({x / kCent, weight * step, ln});
        if (ln + std::log(weight) > best) {
            best = ln + std::log(weight);
            evidence.cents = x / kCent;
        }
    }
    evidence.ln_ratio = integrate(evidence.places);
    return evidence;
}

}  // namespace rankwright::listening
