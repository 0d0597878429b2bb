#include "listening/input_meter.h"

#include "listening/arithmetic.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {
// A 16-bit converter's last step but one; above it nothing was left to the waveform.
constexpr float kLimit = 0.9998F;
// A limit below full scale shows as the same value several times running, near the peak.
constexpr std::size_t kRun = 3;
constexpr float kQuietest = 0.02F;  // below, coarse steps repeat values anyway

std::size_t flat_tops(std::span<const float> samples, float peak) {
    std::size_t count = 0;
    std::size_t run = 1;
    for (std::size_t i = 1; i < samples.size(); ++i) {
        run = samples[i] == samples[i - 1] && std::abs(samples[i]) > 0.9F * peak ? run + 1 : 1;
        if (run == kRun) count += kRun;
        if (run > kRun) ++count;
    }
    return count;
}

}  // namespace

void InputMeter::take(std::span<const float> samples) {
    Step step;
    step.samples = samples.size();
    step.energy = energy(samples);
    for (const float x : samples) {
        const float size = std::abs(x);
        step.peak = std::max(step.peak, static_cast<double>(size));
        step.clipped += size >= kLimit ? 1 : 0;
    }
    const auto peak = static_cast<float>(step.peak);
    if (step.clipped == 0 && peak > kQuietest) step.clipped = flat_tops(samples, peak);
    steps_[at_] = step;
    at_ = (at_ + 1) % kSteps;
}

void InputMeter::reset() { steps_ = {}; }

InputLevel InputMeter::level() const {
    Step all;
    for (const Step& step : steps_) {
        all.energy += step.energy;
        all.peak = std::max(all.peak, step.peak);
        all.clipped += step.clipped;
        all.samples += step.samples;
    }
    InputLevel level;
    if (all.samples == 0) return level;
    const auto n = static_cast<double>(all.samples);
    // A full-scale sine has a mean square of a half.
    level.rms = Decibels{10.0 * std::log10(std::max(2.0 * all.energy / n, 1e-12))};
    level.peak = Decibels{20.0 * std::log10(std::max(all.peak, 1e-6))};
    level.clipped = static_cast<double>(all.clipped) / n;
    return level;
}

}  // namespace rankwright::listening
