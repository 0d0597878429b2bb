#include "listening/spectral_lines.h"

#include <algorithm>
#include <cmath>
#include <numbers>

#include <kissfft/kiss_fftr.h>

namespace rankwright::listening {

namespace {

constexpr std::size_t kMostKept = 96;
constexpr double kLowestLine_hz = 0.9 * kLowestPitch.value();
constexpr double kHighestLine_hz = 14000.0;  // above, no partial is needed to find a note
constexpr double kQuietShare = 0.2;          // of a segment's bins, taken as free of partials
constexpr double kLineThreshold = 16.0;  // line power over mean noise: one false line in ~700 looks
// The wind's own noise at a pipe's resonances, beside its partials.
constexpr double kWindNoise = 0.1;
constexpr double kWindNoiseWidth = 0.12;
constexpr double kWindNoiseFrom = 400.0;

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

}  // namespace

struct SpectralLines::State {
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
    double bin_hz = 1.0;

    void measure_floor();
    double floor_near(double bin) const;
    void pick_lines(std::span<const SpectralLine> ignore);
    void keep(const SpectralLine& line);
    void drop_skirts();
};

SpectralLines::SpectralLines(SampleRate rate, Seconds window) : state_(std::make_unique<State>()) {
    State& s = *state_;
    const double wanted = window.count() * rate.value();
    s.frames = fft_size(static_cast<std::size_t>(std::max(32.0, wanted)));
    s.fft.reset(kiss_fftr_alloc(static_cast<int>(s.frames), 0, nullptr, nullptr));
    s.bin_hz = rate.value() / static_cast<double>(s.frames);
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
    const double top = std::min(0.5 * rate.value(), kHighestLine_hz);
    s.power.resize(static_cast<std::size_t>(top / s.bin_hz) + 1);
    s.sorted.resize(s.frames / 2 + 1);
    s.floor.reserve(64);
    s.floor_at.reserve(64);
    s.lines.reserve(kMostKept + 1);
}

SpectralLines::~SpectralLines() = default;
SpectralLines::SpectralLines(SpectralLines&&) noexcept = default;
SpectralLines& SpectralLines::operator=(SpectralLines&&) noexcept = default;

std::size_t SpectralLines::frames() const { return state_->frames; }

double SpectralLines::bin_hz() const { return state_->bin_hz; }

std::size_t SpectralLines::most() { return kMostKept; }

std::span<const SpectralLine> SpectralLines::lines() const { return state_->lines; }

bool SpectralLines::look(std::span<const float> samples, std::span<const SpectralLine> ignore) {
    State& s = *state_;
    s.lines.clear();
    if (samples.size() < s.frames) return false;
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
    return true;
}

// The noise beside the lines: in segments that grow with frequency, from the quietest fifth of the
// bins. Power of noise in a bin is exponentially spread, so its p-quantile lies at -ln(1-p) means.
void SpectralLines::State::measure_floor() {
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

double SpectralLines::State::floor_near(double bin) const {
    const auto above = std::upper_bound(floor_at.begin(), floor_at.end(), bin);
    if (above == floor_at.begin()) return floor.front();
    if (above == floor_at.end()) return floor.back();
    const auto i = static_cast<std::size_t>(above - floor_at.begin());
    const double part = (bin - floor_at[i - 1]) / (floor_at[i] - floor_at[i - 1]);
    return std::exp((1.0 - part) * std::log(floor[i - 1]) + part * std::log(floor[i]));
}

void SpectralLines::State::pick_lines(std::span<const SpectralLine> ignore) {
    const double quietest = *std::min_element(floor.begin(), floor.end());
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
        if (line.hz < kLowestLine_hz) continue;
        const auto hum = [&](const SpectralLine& other) {
            return std::abs(line.hz - other.hz) < bin_hz && line.amplitude < 2.0 * other.amplitude;
        };
        if (std::any_of(ignore.begin(), ignore.end(), hum)) continue;
        keep(line);
    }
}

// When there are too many, the weakest goes.
void SpectralLines::State::keep(const SpectralLine& line) {
    lines.push_back(line);
    if (lines.size() <= kMostKept) return;
    lines.erase(std::min_element(lines.begin(), lines.end(), [](const auto& a, const auto& b) {
        return a.amplitude < b.amplitude;
    }));
}

// A loud line's side lobes (Hann: 1/d³ at d bins) and the skirts that its wander adds aren't lines.
void SpectralLines::State::drop_skirts() {
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

std::vector<SpectralLine> ignored_lines(std::span<const Hertz> places) {
    constexpr double kLouderThanAny = 100.0;
    std::vector<SpectralLine> lines;
    lines.reserve(places.size());
    for (const Hertz place : places)
        lines.push_back({place.value(), kLouderThanAny, 0.0});
    return lines;
}

}  // namespace rankwright::listening
