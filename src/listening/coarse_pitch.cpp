#include "listening/coarse_pitch.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

constexpr int kMostPlaces = 96;
constexpr std::size_t kSeeds = 8;      // the strongest lines, each tried as some partial
constexpr int kHighestSeed = 48;       // of the partials a seed may be
constexpr double kLeastPeriods = 4.5;  // in the window, for neighbours to stand apart under Hann
constexpr double kEmptyCost = 0.2;     // of its neighbours' strength, for an empty place
// Lines midway between a pipe's own partials have less than this of all power: ghosts that stand
// beside a line at the fundamental, and ghosts that don't.
constexpr double kGhostPower = 0.006;
constexpr double kBaselessPower = 0.03;
constexpr double kFolded = 0.2;     // relative amplitude that a folded harmonic hardly has
constexpr double kWander = 0.0015;  // a partial's own width, 2.6 cents

// Strength of a line: the root of its amplitude, so that weak partials still count, faded in from
// the threshold so that a noise peak doesn't. Hard clipping strews weak lines (harmonics folded
// back at half the sampling rate): then the power of the loud ones.
double strength(const SpectralLine& line, double loudest, bool squared_off) {
    const double certainty = std::clamp((10.0 * std::log10(line.snr) - 10.0) / 12.0, 0.0, 1.0);
    const double relative = line.amplitude / loudest;
    if (squared_off) return relative < kFolded ? 0.0 : relative * relative;
    return std::sqrt(relative) * certainty;
}

// Whether a good part of the samples stands at one limit; of a pure sine 0.3 % do.
bool is_squared_off(std::span<const float> samples) {
    float peak = 0.0F;
    for (const float x : samples)
        peak = std::max(peak, std::abs(x));
    const float limit = peak * (1.0F - 1e-5F);
    const auto at_limit = std::count_if(samples.begin(), samples.end(),
                                        [&](float x) { return std::abs(x) >= limit; });
    return peak > 0.0F && at_limit > static_cast<std::ptrdiff_t>(samples.size() / 20);
}

// How much is missing from the places below a smooth envelope of those taken: half the envelope,
// which falls with the 1.5th power of the distance (ratio) from a taken place.
double emptiness(std::span<const double> places) {
    std::array<double, kMostPlaces + 1> envelope{};
    double reach = 0.0;
    for (std::size_t k = 1; k < places.size(); ++k) {
        reach = std::max(places[k], reach * std::max(0.0, 1.0 - 1.5 / static_cast<double>(k)));
        envelope[k] = reach;
    }
    double missing = 0.0;
    reach = 0.0;
    for (std::size_t k = places.size() - 1; k >= 1; --k) {
        reach = std::max(places[k], reach * std::max(0.0, 1.0 - 1.5 / static_cast<double>(k + 1)));
        missing += std::max(0.0, 0.5 * std::max(envelope[k], reach) - places[k]);
    }
    return missing;
}

}  // namespace

struct CoarsePitch::State {
    explicit State(const Parameters& parameters)
        : spectrum(parameters.rate, parameters.window), bin_hz(spectrum.bin_hz()) {
        strengths.reserve(SpectralLines::most() + 1);
        strengths_from.resize(SpectralLines::most() + 1);
    }

    SpectralLines spectrum;
    double bin_hz;
    std::vector<double> strengths;
    std::vector<double> strengths_from;  // of each line and those above, together

    struct Fit {
        double hz = 0.0;
        double score = -1e9;
        double matched = 0.0;  // strength explained
        double level = 0.0;
        int partials = 0;
        double fundamental = 0.0;  // power of the line that stands there
    };
    Fit explain(double hz, double seed_partial, double at_least) const;
    Fit without_ghosts(const Fit& found, double high) const;
};

CoarsePitch::CoarsePitch(const Parameters& parameters)
    : state_(std::make_unique<State>(parameters)) {}

CoarsePitch::~CoarsePitch() = default;
CoarsePitch::CoarsePitch(CoarsePitch&&) noexcept = default;
CoarsePitch& CoarsePitch::operator=(CoarsePitch&&) noexcept = default;

std::size_t CoarsePitch::frames() const { return state_->spectrum.frames(); }

std::span<const SpectralLine> CoarsePitch::lines() const { return state_->spectrum.lines(); }

void CoarsePitch::look(std::span<const float> samples, std::span<const SpectralLine> ignore) {
    State& s = *state_;
    s.strengths.clear();
    if (!s.spectrum.look(samples, ignore)) return;
    const bool squared_off = is_squared_off(samples.last(frames()));
    double loudest = 0.0;
    for (const SpectralLine& line : s.spectrum.lines())
        loudest = std::max(loudest, line.amplitude);
    for (const SpectralLine& line : s.spectrum.lines())
        s.strengths.push_back(strength(line, loudest, squared_off));
    double sum = 0.0;
    for (std::size_t i = s.strengths.size(); i-- > 0;)
        s.strengths_from[i] = sum += s.strengths[i];
}

// Takes `hz` as the fundamental, the line that suggested it being partial `seed_partial`; goes up
// the lines and lets each one found sharpen the fundamental.
CoarsePitch::State::Fit CoarsePitch::State::explain(double hz, double seed_partial,
                                                    double at_least) const {
    const std::span<const SpectralLine> lines = spectrum.lines();
    Fit fit;
    double weight = 0.3 * seed_partial * seed_partial;
    double sum = weight * hz;
    double all = 0.0;
    int last_place = 0;
    std::array<double, kMostPlaces + 1> places{};
    const double least_by_chance = std::min(0.8, 0.7 * bin_hz / hz);
    // The place that a line takes under the present fundamental; 0 when it is off all of them.
    const auto place_of = [&](std::size_t i) {
        const auto place = static_cast<int>(std::lround(lines[i].hz * weight / sum));
        const double f0 = sum / weight;
        const double miss = lines[i].hz - place * f0;
        const double room = std::min(0.4 * bin_hz + kWander * lines[i].hz, 0.25 * f0);
        return place < 1 || strengths[i] <= 0.0 || std::abs(miss) > room ? 0 : place;
    };
    for (std::size_t i = 0; i < lines.size(); ++i) {
        all += strengths[i];
        const int place = place_of(i);
        if (place == 0 || place == last_place) continue;
        // Of several lines at one place the strongest, not the skirt before it.
        for (; i + 1 < lines.size() && strengths[i + 1] > strengths[i] && place_of(i + 1) == place;
             ++i)
            all += strengths[i + 1];
        if (place > kMostPlaces) break;
        // Even if it explained all that is left, another is better.
        if (fit.matched + strengths_from[i] - least_by_chance * all < at_least) return {};
        last_place = place;
        places[static_cast<std::size_t>(place)] = strengths[i];
        fit.matched += strengths[i];
        fit.level += lines[i].amplitude * lines[i].amplitude;
        ++fit.partials;
        if (place == 1) fit.fundamental = lines[i].amplitude * lines[i].amplitude;
        const double w = strengths[i] + 1e-6;
        sum += w * place * lines[i].hz;
        weight += w * place * place;
    }
    fit.hz = sum / weight;
    const double by_chance = std::min(0.8, 0.8 * bin_hz / fit.hz);
    fit.score = fit.matched - by_chance * all;
    if (fit.score > at_least)
        fit.score -=
            kEmptyCost * emptiness({places.data(), static_cast<std::size_t>(last_place) + 1});
    return fit;
}

// A reed whose strokes differ by turns, or the wind's noise halfway up a harmonic pipe, strew faint
// lines midway between the partials; however many, they don't make the note an octave lower.
CoarsePitch::State::Fit CoarsePitch::State::without_ghosts(const Fit& found, double high) const {
    for (const double times : {2.0, 3.0}) {
        if (found.hz * times > high) break;
        const Fit upper = explain(found.hz * times, 1, -1e9);
        const double ghosts = found.fundamental > 0.0 ? kGhostPower : kBaselessPower;
        if (upper.level > (1.0 - ghosts) * found.level ||
            is_overblown(Hertz{found.hz}, found.fundamental / found.level,
                         1.0 - upper.level / found.level))
            return upper;
    }
    return found;
}

std::optional<CoarsePitchReading> CoarsePitch::find(std::optional<Hertz> near) const {
    const State& s = *state_;
    const double semitone = std::exp2(1.15 / 12.0);
    const double shortest = kLeastPeriods * s.bin_hz;
    const double low =
        near ? near->value() / semitone : std::max(shortest, kLowestPitch.value() / semitone);
    const double high = near ? near->value() * semitone : kHighestPitch.value() * semitone;

    std::array<std::size_t, kSeeds> seeds{};
    std::size_t seed_count = 0;
    for (; seed_count < std::min(kSeeds, s.spectrum.lines().size()); ++seed_count) {
        const auto taken = [&](std::size_t i) {
            return std::find(seeds.begin(), seeds.begin() + static_cast<std::ptrdiff_t>(seed_count),
                             i) != seeds.begin() + static_cast<std::ptrdiff_t>(seed_count);
        };
        std::size_t best = s.spectrum.lines().size();
        for (std::size_t i = 0; i < s.spectrum.lines().size(); ++i)
            if (!taken(i) &&
                (best == s.spectrum.lines().size() || s.strengths[i] > s.strengths[best]))
                best = i;
        seeds[seed_count] = best;
    }

    State::Fit best;
    double rival = -1e9;  // the best one an octave (or a twelfth) away
    const auto consider = [&](const State::Fit& fit) {
        if (fit.hz < low || fit.hz > high || fit.score <= best.score) return;
        best = fit;
    };
    for (std::size_t i = 0; i < seed_count; ++i) {
        const double hz = s.spectrum.lines()[seeds[i]].hz;
        const int first = std::max(1, static_cast<int>(std::ceil(hz / high)));
        const int last = std::min(kHighestSeed, static_cast<int>(hz / low));
        for (int n = first; n <= last; ++n)
            consider(s.explain(hz / n, n, best.score));
    }
    double all = 0.0;
    for (const double strength_of : s.strengths)
        all += strength_of;
    if (best.partials == 0 || best.score <= 0.0) return std::nullopt;
    best = s.without_ghosts(best, high);
    for (const double times : {0.5, 2.0, 3.0, 1.0 / 3.0})
        if (best.hz * times > shortest)
            rival = std::max(rival, s.explain(best.hz * times, 1, 0.0).score);

    CoarsePitchReading reading;
    reading.pitch = Hertz{best.hz};
    reading.level = best.level;
    reading.share = all > 0.0 ? best.matched / all : 0.0;
    reading.strength = best.score;
    reading.partials = best.partials;
    // Where a fundamental is heard no octave is in doubt; nor are a lone line's lower ones: their
    // empty places are only cheap.
    reading.octave_doubtful =
        best.partials > 1 && best.fundamental <= 0.0 && rival > 0.9 * best.score;
    return reading;
}

bool is_overblown(Hertz body, double fundamental, double beside) {
    constexpr double kFaint = 5e-4, kMost = 0.12;
    return body > kFundamentalHeard && fundamental < kFaint && beside < kMost;
}

std::optional<Hertz> find_pitch(std::span<const float> samples, SampleRate rate,
                                std::optional<Hertz> near, std::span<const Hertz> beside) {
    constexpr Seconds kWindow{0.5};
    constexpr std::size_t kVotes = 3;
    const Seconds heard = duration(static_cast<std::int64_t>(samples.size()), rate);
    CoarsePitch coarse({.rate = rate, .window = std::min(kWindow, heard)});
    if (coarse.frames() > samples.size()) return std::nullopt;

    const std::vector<SpectralLine> ignored = ignored_lines(beside);
    std::array<CoarsePitchReading, kVotes> votes{};
    std::size_t count = 0;
    const std::size_t spare = samples.size() - coarse.frames();
    const std::size_t tries = spare < coarse.frames() / 4 ? 1 : kVotes;
    for (std::size_t i = 0; i < tries; ++i) {
        const std::size_t from = spare * (2 * i + 1) / (2 * tries);
        coarse.look(samples.subspan(from, coarse.frames()), ignored);
        if (const auto found = coarse.find(near)) votes[count++] = *found;
    }
    // The pitch with the most strength behind it.
    std::optional<Hertz> best;
    double best_support = 0.0;
    for (std::size_t i = 0; i < count; ++i) {
        double support = 0.0;
        for (std::size_t j = 0; j < count; ++j)
            if (std::abs(interval(votes[i].pitch, votes[j].pitch).value()) < 50.0)
                support += votes[j].strength * std::sqrt(votes[j].level);
        if (support > best_support) {
            best_support = support;
            best = votes[i].pitch;
        }
    }
    return best;
}

}  // namespace rankwright::listening
