#include "listening/line_level.h"

#include "listening/arithmetic.h"

#include <algorithm>
#include <cmath>
#include <complex>

namespace rankwright::listening {

Decibels line_level(std::span<const float> samples, SampleRate rate, Hertz hz) {
    constexpr double kNothing_db = -200.0;
    if (samples.empty()) return Decibels{kNothing_db};
    const auto count = static_cast<double>(samples.size());
    const std::complex<double> step = std::polar(1.0, -kTurn * hz.value() / rate.value());
    const std::complex<double> window_step = std::polar(1.0, kTurn / count);
    std::complex<double> turning = 1.0, window = window_step, sum = 0.0;
    for (const float sample : samples) {
        sum += (1.0 - window.real()) * static_cast<double>(sample) * turning;
        turning *= step;
        window *= window_step;
    }
    return Decibels{std::max(kNothing_db, 20.0 * std::log10(2.0 * std::abs(sum) / count + 1e-10))};
}

}  // namespace rankwright::listening
