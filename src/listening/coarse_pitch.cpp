#include "listening/coarse_pitch.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <kissfft/kiss_fftr.h>

namespace rankwright::listening {

namespace {

constexpr std::size_t kMostLines = 96;
constexpr int kMostPlaces = 96;
constexpr std::size_t kSeeds = 8;        // the strongest lines, each tried as some partial
constexpr int kHighestSeed = 48;         // of the partials a seed may be
constexpr double kLeastPeriods = 4.5;    // in the window, for neighbours to stand apart under Hann
constexpr double kQuietShare = 0.2;      // of a segment's bins, taken as free of partials
constexpr double kLineThreshold = 16.0;  // line power over mean noise: one false line in ~700 looks
constexpr double kEmptyCost = 0.2;       // of its neighbours' strength, for an empty place
// Lines midway between a pipe's own partials have less than this of all power: ghosts that stand
// beside a line at the fundamental, and ghosts that don't.
constexpr double kGhostPower = 0.006;
constexpr double kBaselessPower = 0.03;
constexpr double kFolded = 0.2;              // relative amplitude that a folded harmonic hardly has
constexpr double kHighestLine_hz = 14000.0;  // above, no partial is needed to find a note
// The wind's own noise at a pipe's resonances, beside its partials.
constexpr double kWindNoise = 0.1;
constexpr double kWindNoiseWidth = 0.12;
constexpr double kWindNoiseFrom = 400.0;
constexpr double kWander = 0.0015;  // a partial's own width, 2.6 cents

struct FftDeleter {
    void operator()(kiss_fftr_state* cfg) const { kiss_fftr_free(cfg); }
};

// The largest even number up to `most` made of 2, 3 and 5 only: other radices allocate in KissFFT.
std::size_t fft_size(std::size_t most) {
    for (std::size_t n = most & ~std::size_t{1}; n > 2; n -= 2) {
        std::size_t rest = n;
        for (const std::size_t p : {2, 3, 5})
            while (rest % p == 0)
                rest /= p;
        if (rest == 1) return n;
    }
    return 2;
}

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
    SampleRate rate;
    std::size_t frames = 0;
    std::unique_ptr<kiss_fftr_state, FftDeleter> fft;
    std::vector<float> window;
    std::vector<float> input;
    std::vector<kiss_fft_cpx> spectrum;
    std::vector<float> power;      // of each bin
    std::vector<float> sorted;     // scratch of one segment
    std::vector<float> floor;      // mean noise power, at each segment
    std::vector<double> floor_at;  // segment centres, bins
    std::vector<SpectralLine> lines;
    std::vector<double> strengths;
    std::vector<double> strengths_from;  // of each line and those above, together
    double bin_hz = 1.0;

    void measure_floor();
    double floor_near(double bin) const;
    void pick_lines(std::span<const SpectralLine> ignore);
    void keep(const SpectralLine& line);
    void drop_skirts();

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

CoarsePitch::CoarsePitch(const Parameters& parameters) : state_(std::make_unique<State>()) {
    State& s = *state_;
    s.rate = parameters.rate;
    const double wanted = parameters.window.count() * parameters.rate.value();
    s.frames = fft_size(static_cast<std::size_t>(std::max(32.0, wanted)));
    s.fft.reset(kiss_fftr_alloc(static_cast<int>(s.frames), 0, nullptr, nullptr));
    s.bin_hz = s.rate.value() / static_cast<double>(s.frames);
    s.window.resize(s.frames);
    // Periodic Hann, scaled so that a full-scale sine at a bin's centre gives amplitude 1.
    for (std::size_t i = 0; i < s.frames; ++i) {
        const double phase =
            2.0 * std::numbers::pi * static_cast<double>(i) / static_cast<double>(s.frames);
        s.window[i] =
            static_cast<float>((1.0 - std::cos(phase)) * 2.0 / static_cast<double>(s.frames));
    }
    s.input.resize(s.frames);
    s.spectrum.resize(s.frames / 2 + 1);
    const double top = std::min(0.5 * s.rate.value(), kHighestLine_hz);
    s.power.resize(static_cast<std::size_t>(top / s.bin_hz) + 1);
    s.sorted.resize(s.frames / 2 + 1);
    s.floor.reserve(64);
    s.floor_at.reserve(64);
    s.lines.reserve(kMostLines + 1);
    s.strengths.reserve(kMostLines + 1);
    s.strengths_from.resize(kMostLines + 1);
}

CoarsePitch::~CoarsePitch() = default;
CoarsePitch::CoarsePitch(CoarsePitch&&) noexcept = default;
CoarsePitch& CoarsePitch::operator=(CoarsePitch&&) noexcept = default;

std::size_t CoarsePitch::frames() const { return state_->frames; }

std::span<const SpectralLine> CoarsePitch::lines() const { return state_->lines; }

void CoarsePitch::look(std::span<const float> samples, std::span<const SpectralLine> ignore) {
    State& s = *state_;
    s.lines.clear();
    s.strengths.clear();
    if (samples.size() < s.frames) return;
    const auto recent = samples.last(s.frames);
    double mean = 0.0;
    for (const float x : recent)
        mean += x;
    mean /= static_cast<double>(s.frames);
    for (std::size_t i = 0; i < s.frames; ++i)
        s.input[i] = (recent[i] - static_cast<float>(mean)) * s.window[i];
    kiss_fftr(s.fft.get(), s.input.data(), s.spectrum.data());
    for (std::size_t k = 0; k < s.power.size(); ++k)
        s.power[k] = s.spectrum[k].r * s.spectrum[k].r + s.spectrum[k].i * s.spectrum[k].i;
    s.measure_floor();
    s.pick_lines(ignore);
    s.drop_skirts();
    const bool squared_off = is_squared_off(recent);
    double loudest = 0.0;
    for (const SpectralLine& line : s.lines)
        loudest = std::max(loudest, line.amplitude);
    for (const SpectralLine& line : s.lines)
        s.strengths.push_back(strength(line, loudest, squared_off));
    double sum = 0.0;
    for (std::size_t i = s.strengths.size(); i-- > 0;)
        s.strengths_from[i] = sum += s.strengths[i];
}

// The noise beside the lines: in segments that grow with frequency, from the quietest fifth of the
// bins. Power of noise in a bin is exponentially spread, so its p-quantile lies at -ln(1-p) means.
void CoarsePitch::State::measure_floor() {
    floor.clear();
    floor_at.clear();
    const double to_mean = 1.0 / -std::log(1.0 - kQuietShare);
    for (std::size_t from = 1; from + 1 < power.size() && floor.size() < 64;) {
        const std::size_t width = std::max<std::size_t>(20, from / 3);
        std::size_t to = std::min(power.size(), from + width);
        if (power.size() - to < width / 2) to = power.size();
        const std::size_t count = to - from;
        std::copy_n(power.begin() + static_cast<std::ptrdiff_t>(from), count, sorted.begin());
        const auto rank = static_cast<std::ptrdiff_t>(kQuietShare * static_cast<double>(count));
        std::nth_element(sorted.begin(), sorted.begin() + rank,
                         sorted.begin() + static_cast<std::ptrdiff_t>(count));
        const double quiet =
            std::max(static_cast<double>(sorted[static_cast<std::size_t>(rank)]), 1e-20);
        floor.push_back(static_cast<float>(quiet * to_mean));
        floor_at.push_back(0.5 * static_cast<double>(from + to));
        from = to;
    }
}

double CoarsePitch::State::floor_near(double bin) const {
    const auto above = std::upper_bound(floor_at.begin(), floor_at.end(), bin);
    if (above == floor_at.begin()) return floor.front();
    if (above == floor_at.end()) return floor.back();
    const auto i = static_cast<std::size_t>(above - floor_at.begin());
    const double part = (bin - floor_at[i - 1]) / (floor_at[i] - floor_at[i - 1]);
    return std::exp((1.0 - part) * std::log(floor[i - 1]) + part * std::log(floor[i]));
}

void CoarsePitch::State::pick_lines(std::span<const SpectralLine> ignore) {
    const double quietest = *std::min_element(floor.begin(), floor.end());
    const double least_hz = 0.9 * kLowestPitch.value();
    for (std::size_t k = 2; k + 2 < power.size(); ++k) {
        if (power[k] < power[k - 1] || power[k] <= power[k + 1]) continue;
        if (power[k] < kLineThreshold * quietest) continue;
        const double noise = floor_near(static_cast<double>(k));
        if (power[k] < kLineThreshold * noise) continue;
        // Exact for a lone sine under Hann: from the ratio to its larger neighbour (Grandke, IEEE
        // Trans. Instrum. Meas. 32, 1983, p. 350).
        const bool up = power[k + 1] >= power[k - 1];
        const double ratio =
            std::sqrt(static_cast<double>(up ? power[k + 1] : power[k - 1]) / power[k]);
        const double offset = std::clamp((2.0 * ratio - 1.0) / (ratio + 1.0), 0.0, 0.5);
        const double x = std::numbers::pi * offset;
        const double kernel =
            offset < 1e-6 ? 1.0 : std::sin(x) / x / (1.0 - offset * offset);  // Hann's lobe
        SpectralLine line;
        line.hz = (static_cast<double>(k) + (up ? offset : -offset)) * bin_hz;
        line.amplitude = std::sqrt(static_cast<double>(power[k])) / kernel;
        line.snr = power[k] / noise;
        if (line.hz < least_hz) continue;
        const auto hum = [&](const SpectralLine& other) {
            return std::abs(line.hz - other.hz) < bin_hz && line.amplitude < 2.0 * other.amplitude;
        };
        if (std::any_of(ignore.begin(), ignore.end(), hum)) continue;
        keep(line);
    }
}

// When there are too many, the weakest goes.
void CoarsePitch::State::keep(const SpectralLine& line) {
    lines.push_back(line);
    if (lines.size() <= kMostLines) return;
    lines.erase(std::min_element(lines.begin(), lines.end(), [](const auto& a, const auto& b) {
        return a.amplitude < b.amplitude;
    }));
}

// A loud line's side lobes (Hann: 1/d³ at d bins) and the skirts that its wander adds aren't lines.
void CoarsePitch::State::drop_skirts() {
    const auto is_skirt = [&](const SpectralLine& line) {
        return std::any_of(lines.begin(), lines.end(), [&](const SpectralLine& other) {
            const double d = std::abs(other.hz - line.hz) / bin_hz;
            if (d < 0.5 || line.amplitude >= other.amplitude) return false;
            return line.amplitude < other.amplitude * 3.0 / (d * std::abs(d * d - 1.0) + 3.0) ||
                   (line.amplitude < kWindNoise * other.amplitude && other.hz > kWindNoiseFrom &&
                    std::abs(other.hz - line.hz) < kWindNoiseWidth * other.hz);
        });
    };
    // Judged against all, loudest included, before any is taken away.
    for (SpectralLine& line : lines)
        if (is_skirt(line)) line.snr = 0.0;
    std::erase_if(lines, [](const SpectralLine& line) { return line.snr <= 0.0; });
}

// Takes `hz` as the fundamental, the line that suggested it being partial `seed_partial`; goes up
// the lines and lets each one found sharpen the fundamental.
CoarsePitch::State::Fit CoarsePitch::State::explain(double hz, double seed_partial,
                                                    double at_least) const {
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
    for (; seed_count < std::min(kSeeds, s.lines.size()); ++seed_count) {
        const auto taken = [&](std::size_t i) {
            return std::find(seeds.begin(), seeds.begin() + static_cast<std::ptrdiff_t>(seed_count),
                             i) != seeds.begin() + static_cast<std::ptrdiff_t>(seed_count);
        };
        std::size_t best = s.lines.size();
        for (std::size_t i = 0; i < s.lines.size(); ++i)
            if (!taken(i) && (best == s.lines.size() || s.strengths[i] > s.strengths[best]))
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
        const double hz = s.lines[seeds[i]].hz;
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
    // A lone line's lower octaves are not in doubt: their empty places are only cheap.
    reading.octave_doubtful = best.partials > 1 && rival > 0.9 * best.score;
    return reading;
}

bool is_overblown(Hertz body, double fundamental, double beside) {
    constexpr double kFaint = 5e-4, kMost = 0.12;
    return body > kFundamentalHeard && fundamental < kFaint && beside < kMost;
}

std::vector<SpectralLine> ignored_lines(std::span<const Hertz> places) {
    constexpr double kLouderThanAny = 100.0;
    std::vector<SpectralLine> lines;
    lines.reserve(places.size());
    for (const Hertz place : places)
        lines.push_back({place.value(), kLouderThanAny, 0.0});
    return lines;
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
