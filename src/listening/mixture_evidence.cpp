// How much more likely the sound is when a pipe sounds than when it is silent.
#include "listening/arithmetic.h"
#include "listening/mixture_presence.h"
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

/// Power that may stand there though none of the pipes does: harmonic pipes, which are twice as
/// long as they sound, have soft lines halfway between their partials.
double between_partials(const MixtureFit& fit, const MixtureState& state, std::size_t pipe,
                        double hz) {
    constexpr double kBetween = 1e-5, kHighest = 4.0;
    double power = 0.0;
    for (std::size_t j = 0; j < state.present.size(); ++j) {
        if (j == pipe || !state.present[j]) continue;
        const double pitch = pitch_of(fit, state, j);
        const double between = std::floor(hz / pitch) + 0.5;
        const double cycles = (hz - between * pitch) * fit.model().span_s;
        if (between < kHighest)
            power += kBetween * std::exp(state.loud[j]) / std::pow(1.0 + cycles * cycles, 1.5);
    }
    return power;
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
                variance += between_partials(fit, state, pipe, hz * (1.0 + x));
                trace.power.push_back(extra.power);
                trace.variance.push_back(variance);
            }
            traces.push_back(std::move(trace));
        }
    }
    return traces;
}

/// The likelihood ratio for a partial expected at `level` (power), its timbre unknown. The
/// density of a tone's power y² where a variance v is expected goes as (1 + y²/νv)^−(ν+1) / v.
double ratio_of(double power, double variance, double level) {
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
    return sum;
}

/// How loud a pipe may be beside the others, and how fast its partials fall.
struct Loudness {
    double db = 0.0;    // of its fundamental, from the other pipes' level
    double fall = 0.0;  // dB a factor of ten in the partial's number
    double weight = 0.0;
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
            all.push_back({db, fall, loud + leak});
            sum += loud + leak;
        }
    }
    for (Loudness& one : all)
        one.weight /= sum;
    return all;
}

/// The ratio for one partial at one place, by the level expected of it in steps of kLevelStep_db.
class RatioTable {
  public:
    void lay(double power, double variance, double level) {
        static const auto steps = [] {
            std::array<double, kLevels> all{};
            for (std::size_t i = 0; i < kLevels; ++i)
                all[i] =
                    std::pow(10.0, 0.1 * (kLowest_db + kLevelStep_db * static_cast<double>(i)));
            return all;
        }();
        for (std::size_t i = 0; i < kLevels; ++i)
            ratio_[i] = ratio_of(power, variance, level * steps[i]);
    }
    static std::size_t step_of(double db) {
        return static_cast<std::size_t>(
            std::lround((std::clamp(db, kLowest_db, kHighest_db) - kLowest_db) / kLevelStep_db));
    }
    double at(std::size_t step) const { return ratio_[step]; }

  private:
    static constexpr double kLowest_db = -110.0, kHighest_db = 30.0;
    static constexpr auto kLevels =
        static_cast<std::size_t>((kHighest_db - kLowest_db) / kLevelStep_db) + 1;
    std::array<double, kLevels> ratio_{};
};

/// A partial's trace at the place looked at last: the grid of a low partial is coarse.
struct PartialThere {
    const PartialTrace* trace;
    double goes_on = 0.0;             // likelihood of a partial as high as the next one, if this is
    std::vector<std::size_t> levels;  // steps of the table, by loudness
    std::size_t at = SIZE_MAX;
    RatioTable ratio{};

    void look(double x, double low, double level) {
        const auto i = std::min(trace->power.size() - 1,
                                static_cast<std::size_t>(std::lround((x - low) / trace->step)));
        if (i != at) ratio.lay(trace->power[i], trace->variance[i], level);
        at = i;
    }
};

std::vector<PartialThere> lay_out(const std::vector<PartialTrace>& traces,
                                  const std::vector<Loudness>& loud) {
    std::vector<PartialThere> partials;
    for (const PartialTrace& t : traces) {
        PartialThere there{.trace = &t, .levels = {}};
        for (const Loudness& one : loud)
            there.levels.push_back(RatioTable::step_of(one.db - one.fall * std::log10(t.partial)));
        partials.push_back(std::move(there));
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

PresenceEvidence presence_evidence(MixtureFit& fit, const MixtureState& without, std::size_t pipe,
                                   const MixtureReach& reach, double level, int highest) {
    static const std::vector<Loudness> loud = loudnesses();
    const std::vector<PartialTrace> traces = trace_partials(fit, without, pipe, reach, highest);
    if (traces.empty()) return {};
    double step = 1.0;
    for (const PartialTrace& t : traces)
        step = std::min(step, t.step);
    std::vector<PartialThere> partials = lay_out(traces, loud);
    const MixtureModel::Pipe& expected = fit.model().pipes[pipe];
    PresenceEvidence evidence;
    double best = -1e300;
    for (double x = reach.low; x <= reach.high; x += step) {
        const double u = (x / kCent - expected.centre) / expected.sd;
        const double weight = 1.0 / ((1.0 + u * u / 3.0) * (1.0 + u * u / 3.0));
        for (PartialThere& there : partials)
            there.look(x, reach.low, level);
        double here = 0.0;
        for (std::size_t i = 0; i < loud.size(); ++i) {
            double ratio = 1.0;
            for (auto there = partials.rbegin(); there != partials.rend(); ++there)
                ratio = there->ratio.at(there->levels[i]) *
                        (1.0 - there->goes_on + there->goes_on * ratio);
            here += loud[i].weight * ratio;
        }
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
