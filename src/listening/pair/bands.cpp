#include "listening/pair/bands.h"

#include "listening/arithmetic.h"
#include "listening/bessel.h"
#include "listening/filtered.h"

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>

#include <kiss_fftr.h>

namespace rankwright::listening {

namespace {

/// Kaiser's window (Kaiser, Proc. IEEE ISCAS 1974): 75 dB, transition width (75 − 7.95)/14.36 over
/// the length.
constexpr double kPairBeta = 7.36;
/// Length of the filter in output samples, and from that where it passes and stops, in shares of
/// the output rate: cut-off at a half, ± half the transition width.
constexpr double kPairLength = 7.0;
constexpr double kPairTransition = 67.05 / 14.36 / kPairLength;
constexpr double kPairPass = 0.30;
constexpr double kPairStop = 0.5 + 0.5 * kPairTransition;
/// Output rate: at least this many samples in the span, so that the filter's length is a small
/// part of it.
constexpr double kFewestSamples = 80.0;
/// Longest transform of the noise estimate, and the share of a span it needs at least.
constexpr std::size_t kLongestTransform = 262144;

/// The same either way from its middle.
std::vector<double> low_pass(std::size_t half, double cutoff_cycles) {
    std::vector<double> taps(2 * half + 1);
    double total = 0.0;
    for (std::size_t n = 0; n <= half; ++n) {
        const double at = kTurn * cutoff_cycles * static_cast<double>(n);
        const double u = static_cast<double>(n) / (static_cast<double>(half) + 1.0);
        const double tap =
            (n == 0 ? 1.0 : std::sin(at) / at) * bessel_i0(kPairBeta * std::sqrt(1.0 - u * u));
        taps[half - n] = taps[half + n] = tap;
        total += n == 0 ? tap : 2.0 * tap;
    }
    for (double& tap : taps)
        tap /= total;
    return taps;
}

}  // namespace

NoiseFloor::NoiseFloor(std::span<const float> samples, SampleRate rate) {
    std::size_t n = 2;
    while (2 * n <= samples.size() && 2 * n <= kLongestTransform)
        n *= 2;
    if (n < samples.size() / 2 * 3 / 2) n = n / 2 * 3;  // still 2·2·…·3
    if (n > samples.size()) n = n / 3 * 2;
    const std::size_t skip = (samples.size() - n) / 2;
    std::vector<float> windowed(n);
    double energy = 0.0, sum = 0.0;
    for (std::size_t i = 0; i < n; ++i) {
        const double s =
            std::sin(std::numbers::pi * (static_cast<double>(i) + 0.5) / static_cast<double>(n));
        const double w = s * s;  // Hann: its skirts fall by 18 dB an octave
        windowed[i] = static_cast<float>(w) * samples[skip + i];
        energy += w * w;
        sum += w;
    }
    std::vector<kiss_fft_cpx> spectrum(n / 2 + 1);
    const std::unique_ptr<std::remove_pointer_t<kiss_fftr_cfg>, void (*)(void*)> plan(
        kiss_fftr_alloc(static_cast<int>(n), 0, nullptr, nullptr),
        [](void* p) { kiss_fftr_free(p); });
    kiss_fftr(plan.get(), windowed.data(), spectrum.data());
    power_.resize(n / 2 + 1);
    for (std::size_t i = 0; i < power_.size(); ++i)
        power_[i] = static_cast<float>(
            (spectrum[i].r * spectrum[i].r + spectrum[i].i * spectrum[i].i) / energy);
    hz_per_bin_ = rate.value() / static_cast<double>(n);
    line_gain_ = 4.0 * energy / (sum * sum);
}

double NoiseFloor::variance(double from_hz, double to_hz) const {
    const auto last = static_cast<double>(power_.size() - 1);
    const auto a =
        static_cast<std::size_t>(std::clamp(std::ceil(from_hz / hz_per_bin_), 1.0, last));
    const auto b =
        static_cast<std::size_t>(std::clamp(std::floor(to_hz / hz_per_bin_) + 1.0, 1.0, last));
    if (a >= b) return power_[std::min(a, power_.size() - 1)];
    scratch_.assign(power_.begin() + static_cast<std::ptrdiff_t>(a),
                    power_.begin() + static_cast<std::ptrdiff_t>(b));
    const auto middle = scratch_.begin() + static_cast<std::ptrdiff_t>(scratch_.size() / 2);
    std::nth_element(scratch_.begin(), middle, scratch_.end());
    return *middle / std::numbers::ln2;  // median of an exponential variable → its mean
}

double NoiseFloor::line_power(double from_hz, double to_hz) const {
    double best = 0.0;
    for (double hz = from_hz; hz <= to_hz + hz_per_bin_; hz += hz_per_bin_) {
        const auto bin = static_cast<std::size_t>(std::max(0.0, std::round(hz / hz_per_bin_)));
        if (bin < power_.size()) best = std::max(best, static_cast<double>(power_[bin]));
    }
    return best * line_gain_;
}

BandFilter::BandFilter(SampleRate sample_rate, const PairLine& line, double seconds,
                       double least_rate) {
    const double fs = sample_rate.value();
    const double wanted =
        std::max({line.half_width_hz / kPairPass, kFewestSamples / seconds, least_rate});
    const double most = std::max((line.spacing_hz - line.half_width_hz) / kPairStop, 4.0);
    step = static_cast<std::size_t>(
        std::max(1.0, std::floor(fs / std::min({wanted, most, fs / 2.0}))));
    rate = fs / static_cast<double>(step);
    half = static_cast<std::size_t>(std::ceil(0.5 * kPairLength * static_cast<double>(step)));
    const std::vector<double> taps = low_pass(half, 0.5 / static_cast<double>(step));
    double energy = 0.0;
    real.resize(taps.size());
    imaginary.resize(taps.size());
    cycles = line.centre_hz / fs;
    for (std::size_t n = 0; n <= half; ++n) {
        const double tap = taps[half + n];
        energy += (n == 0 ? 1.0 : 2.0) * tap * tap;
        const double at = kTurn * cycles * static_cast<double>(n);
        real[half - n] = real[half + n] = static_cast<float>(tap * std::cos(at));
        imaginary[half + n] = static_cast<float>(-tap * std::sin(at));
        imaginary[half - n] = -imaginary[half + n];
    }
    whiteness = 1.0 / (energy * static_cast<double>(step));
}

std::complex<double> BandFilter::at(const float* x, double middle) const {
    const double turns = cycles * middle;  // wrapped for precision
    return filtered(x, real.data(), imaginary.data(), length()) *
           std::polar(1.0, -kTurn * (turns - std::floor(turns)));
}

PairBand cut_band(std::span<const float> samples, SampleRate rate, const PairLine& line) {
    PairBand band;
    band.line = line;
    const double fs = rate.value();
    const BandFilter filter(rate, line, static_cast<double>(samples.size()) / fs);
    const std::size_t step = filter.step, half = filter.half;
    band.rate = filter.rate;
    if (samples.size() < 2 * half + 1 + 8 * step) return band;
    band.whiteness = filter.whiteness;
    const std::size_t count = (samples.size() - 2 * half - 1) / step + 1;
    const std::size_t used = (count - 1) * step + 2 * half + 1;
    const std::size_t begin = (samples.size() - used) / 2;
    const double middle = 0.5 * static_cast<double>(samples.size() - 1);
    band.first_s = (static_cast<double>(begin + half) - middle) / fs;
    band.z.resize(count);
    for (std::size_t m = 0; m < count; ++m)
        band.z[m] = filter.at(samples.data() + begin + m * step,
                              static_cast<double>(begin + half + m * step) - middle);
    return band;
}

}  // namespace rankwright::listening
