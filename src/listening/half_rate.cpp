#include "listening/half_rate.h"

#include "listening/bessel.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace rankwright::listening {

namespace {

constexpr std::size_t kReach = 47;  // samples on either side; odd, so that its ends aren't nought
constexpr std::size_t kTaps = (kReach + 1) / 2;  // at odd distances; the even ones are nought
constexpr double kBeta = 8.0;                    // Kaiser 1974: some 80 dB

/// Weights at the distances 1, 3, 5 …; their sum and the middle's half make one.
std::array<float, kTaps> half_band() {
    std::array<double, kTaps> taps{};
    double sum = 0.0;
    for (std::size_t i = 0; i < kTaps; ++i) {
        const double at = 2.0 * static_cast<double>(i) + 1.0;
        const double x = at / static_cast<double>(kReach + 1);
        const double window = bessel_i0(kBeta * std::sqrt(1.0 - x * x)) / bessel_i0(kBeta);
        taps[i] = std::sin(0.5 * std::numbers::pi * at) / (std::numbers::pi * at) * window;
        sum += taps[i];
    }
    std::array<float, kTaps> out{};
    for (std::size_t i = 0; i < kTaps; ++i)
        out[i] = static_cast<float>(0.25 * taps[i] / sum);
    return out;
}

}  // namespace

HalvedSound half_rate(std::span<const float> samples) {
    static const std::array<float, kTaps> taps = half_band();
    HalvedSound half;
    half.first = kReach;
    if (samples.size() <= 2 * kReach) return half;
    const std::size_t count = (samples.size() - 2 * kReach + 1) / 2;
    // The neighbours at odd distances side by side, so that a tap goes over many outputs at once.
    std::vector<float> beside(count + kReach);
    for (std::size_t i = 0; i < beside.size(); ++i)
        beside[i] = samples[2 * i];
    half.samples.resize(count);
    for (std::size_t i = 0; i < count; ++i)
        half.samples[i] = 0.5F * samples[half.frame_of(i)];
    constexpr std::size_t kPiece = 2048;  // stays in the fastest cache
    for (std::size_t from = 0; from < count; from += kPiece) {
        const std::size_t piece = std::min(kPiece, count - from);
        float* out = &half.samples[from];
        for (std::size_t tap = 0; tap < kTaps; ++tap) {
            const float* before = &beside[from + kTaps - 1 - tap];
            const float* after = &beside[from + kTaps + tap];
            for (std::size_t i = 0; i < piece; ++i)
                out[i] += taps[tap] * (before[i] + after[i]);
        }
    }
    return half;
}

}  // namespace rankwright::listening
