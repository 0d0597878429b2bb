#include "listening/mixture/bands.h"

#include "listening/arithmetic.h"
#include "listening/filtered.h"
#include "listening/sample_sums.h"
#include "listening/wide_registers.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace rankwright::listening {

namespace {

constexpr double kKaiserBeta = 6.76;  // 70 dB
constexpr double kLength = 12.0;      // of the filter, in output samples
constexpr double kPass = 0.38;        // of the output rate
constexpr double kStop = 0.5 + 0.5 * 62.05 / 14.36 / kLength;
constexpr double kFewestCycles = 150.0;  // output rate × span wanted
constexpr double kLeastCycles = 60.0;    // at least
constexpr double kMostCycles = 900.0;

struct Reach {
    double low, high;
    MixtureTone tone;
};

// The latter half of Kaiser's window, its middle sample first: the modified Bessel function of
// order nought by its power series (Abramowitz and Stegun 9.6.12), enough of it for 1e-13.
RANKWRIGHT_WIDE void lay_window(std::vector<double>& window) {
    constexpr std::size_t kTerms = 20;
    static constexpr auto parts = [] {  // of the square of half the argument, by power
        std::array<double, kTerms> all{1.0};
        for (std::size_t k = 1; k < kTerms; ++k)
            all[k] = all[k - 1] / static_cast<double>(k * k);
        return all;
    }();
    const double end = static_cast<double>(window.size());
    for (std::size_t n = 0; n < window.size(); ++n) {
        const double u = static_cast<double>(n) / end;
        const double y = 0.25 * kKaiserBeta * kKaiserBeta * (1.0 - u * u);
        double sum = parts[kTerms - 1];
        for (std::size_t k = kTerms - 1; k-- > 0;)
            sum = sum * y + parts[k];
        window[n] = sum;
    }
}

}  // namespace

std::vector<MixtureBand> plan_bands(std::span<const MixtureReach> pipes, double seconds,
                                    std::size_t most_tones, double margin_hz) {
    std::vector<Reach> all;
    for (std::size_t j = 0; j < pipes.size(); ++j)
        for (int k = 1; k * pipes[j].nominal_hz < pipes[j].highest_hz; ++k)
            all.push_back({k * pipes[j].nominal_hz * (1.0 + pipes[j].low) - margin_hz,
                           k * pipes[j].nominal_hz * (1.0 + pipes[j].high) + margin_hz,
                           {j, k}});
    std::sort(all.begin(), all.end(), [](const Reach& a, const Reach& b) { return a.low < b.low; });
    struct Cluster {
        double low, high;
        std::vector<MixtureTone> tones;
    };
    std::vector<Cluster> clusters;
    for (const Reach& r : all) {
        if (!clusters.empty() && r.low <= clusters.back().high) {
            clusters.back().high = std::max(clusters.back().high, r.high);
            clusters.back().tones.push_back(r.tone);
        } else {
            clusters.push_back({r.low, r.high, {r.tone}});
        }
    }
    const double least_rate = kLeastCycles / seconds;
    const auto needed = [&](const Cluster& c) {  // distance of the nearest outsider
        const double half = 0.5 * (c.high - c.low);
        return kStop * std::max(half / kPass, least_rate);
    };
    for (bool again = true; again;) {
        again = false;
        for (std::size_t i = 0; i + 1 < clusters.size(); ++i) {
            Cluster &a = clusters[i], &b = clusters[i + 1];
            const double ca = 0.5 * (a.low + a.high), cb = 0.5 * (b.low + b.high);
            if (b.low - ca >= needed(a) && cb - a.high >= needed(b)) continue;
            if (a.tones.size() > most_tones || b.tones.size() > most_tones) continue;
            a.high = std::max(a.high, b.high);
            a.tones.insert(a.tones.end(), b.tones.begin(), b.tones.end());
            clusters.erase(clusters.begin() + static_cast<std::ptrdiff_t>(i) + 1);
            again = true;
            break;
        }
    }
    std::vector<MixtureBand> bands;
    for (std::size_t i = 0; i < clusters.size(); ++i) {
        const Cluster& c = clusters[i];
        if (c.tones.size() > most_tones) continue;
        MixtureBand band;
        band.tones = c.tones;
        band.centre_hz = 0.5 * (c.low + c.high);
        band.half_width_hz = 0.5 * (c.high - c.low);
        double outside = band.centre_hz;  // zero: rumble, the mirror image
        if (i > 0) outside = std::min(outside, band.centre_hz - clusters[i - 1].high);
        if (i + 1 < clusters.size())
            outside = std::min(outside, clusters[i + 1].low - band.centre_hz);
        const double least = std::max(band.half_width_hz / kPass, least_rate);
        if (outside < kStop * least * 0.98) continue;
        band.rate = std::min(std::max(band.half_width_hz / kPass, kFewestCycles / seconds),
                             outside / kStop);
        if (band.rate * seconds > kMostCycles) continue;
        bands.push_back(std::move(band));
    }
    return bands;
}

bool cut_band(MixtureBand& band, std::span<const float> samples, SampleRate rate) {
    const double fs = rate.value();
    const auto step = static_cast<std::size_t>(std::max(1.0, std::floor(fs / band.rate)));
    band.rate = fs / static_cast<double>(step);
    const auto half =
        static_cast<std::size_t>(std::ceil(0.5 * kLength * static_cast<double>(step)));
    if (samples.size() < 2 * half + 1 + 16 * step) return false;
    // Both halves of the filter are alike: laid from its middle on.
    const double cycles = band.centre_hz / fs;
    std::vector<double> pass(half + 1), carrier(half + 1), pass_cos(half + 1), pass_sin(half + 1),
        cosine(half + 1), sine(half + 1), window(half + 1);
    for (std::size_t n = 0; n <= half; ++n) {
        pass[n] = 0.5 / static_cast<double>(step) * static_cast<double>(n);
        carrier[n] = cycles * static_cast<double>(n);
    }
    lay_circle(pass.data(), pass_cos.data(), pass_sin.data(), half + 1);
    lay_circle(carrier.data(), cosine.data(), sine.data(), half + 1);
    lay_window(window);
    double total = 0.0;
    for (std::size_t n = 0; n <= half; ++n) {
        const double tap = (n == 0 ? 1.0 : pass_sin[n] / (kTurn * pass[n])) * window[n];
        total += n == 0 ? tap : 2.0 * tap;
        cosine[n] *= tap;
        sine[n] *= tap;
    }
    std::vector<float> real(2 * half + 1), imaginary(2 * half + 1);
    for (std::size_t n = 0; n <= half; ++n) {
        real[half + n] = real[half - n] = static_cast<float>(cosine[n] / total);
        imaginary[half + n] = static_cast<float>(-sine[n] / total);
        imaginary[half - n] = -imaginary[half + n];
    }
    const std::size_t count = (samples.size() - 2 * half - 1) / step + 1;
    const std::size_t used = (count - 1) * step + 2 * half + 1;
    const std::size_t begin = (samples.size() - used) / 2;
    const double middle = 0.5 * static_cast<double>(samples.size() - 1);
    band.first_s = (static_cast<double>(begin + half) - middle) / fs;
    band.re.resize(count);
    band.im.resize(count);
    for (std::size_t m = 0; m < count; ++m) {
        const float* x = samples.data() + begin + m * step;
        const std::complex<double> sum = filtered(x, real.data(), imaginary.data(), real.size());
        const double turns = cycles * (static_cast<double>(begin + half + m * step) - middle);
        const double at = -kTurn * (turns - std::floor(turns));
        const double c = std::cos(at), s = std::sin(at);
        band.re[m] = sum.real() * c - sum.imag() * s;
        band.im[m] = sum.real() * s + sum.imag() * c;
    }
    return true;
}

}  // namespace rankwright::listening
