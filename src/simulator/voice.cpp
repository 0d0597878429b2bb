#include "simulator/voice.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::simulator {

namespace {

struct Sound {
    double at_s;
    double voiced, hiss;                // levels
    std::array<double, 3> formants_hz;  // of the voiced part
    double hiss_hz;                     // middle of the noise
};

// Formants of the vowel in "next" near those of Peterson and Barney, JASA 24(2), 1952 (from
// memory); lengths as spoken, common practice.
constexpr std::array<Sound, 9> kNext = {{
    {0.000, 0.0, 0.0, {280, 1000, 2200}, 3000},  // n
    {0.040, 0.5, 0.0, {280, 1000, 2200}, 3000},
    {0.090, 0.6, 0.0, {300, 1500, 2400}, 3000},
    {0.130, 1.0, 0.0, {550, 1800, 2500}, 3000},  // e
    {0.240, 0.9, 0.0, {540, 1850, 2500}, 2200},
    {0.265, 0.0, 0.0, {400, 1900, 2400}, 2200},   // closed for the k
    {0.310, 0.0, 0.35, {400, 1900, 2400}, 2200},  // k
    {0.340, 0.0, 0.22, {400, 1900, 2400}, 6000},  // s
    {0.470, 0.0, 0.18, {400, 1900, 2400}, 6000},
}};
constexpr double kClosed_s = 0.490;  // for the t
constexpr double kBurst_s = 0.540;
constexpr double kEnd_s = 0.600;
constexpr double kLevel = 0.10;

}  // namespace

Voice::Voice(SampleRate rate, Random random) : rate_hz_(rate.value()), random_(random) {}

void Voice::Formant::tune(double hz, double width_hz, double rate_hz) {
    const double safe = std::min(hz, 0.45 * rate_hz);
    const double radius = std::exp(-std::numbers::pi * width_hz / rate_hz);
    back_1 = 2.0 * radius * std::cos(2.0 * std::numbers::pi * safe / rate_hz);
    back_2 = -radius * radius;
    feed = 1.0 - back_1 - back_2;
}

double Voice::Formant::pass(double in) {
    const double out = feed * in + back_1 * before + back_2 * before_that;
    before_that = before;
    before = out;
    return out;
}

void Voice::say_next() {
    said_s_ = 0.0;
    pitch_hz_ = random_.uniform(105.0, 150.0);
}

void Voice::shape(double at_s) {
    std::size_t i = 0;
    while (i + 2 < kNext.size() && kNext[i + 1].at_s <= at_s)
        ++i;
    const Sound& from = kNext[i];
    const Sound& to = kNext[i + 1];
    const double part = std::clamp((at_s - from.at_s) / (to.at_s - from.at_s), 0.0, 1.0);
    const auto between = [part](double a, double b) { return a + part * (b - a); };
    voiced_ = between(from.voiced, to.voiced);
    hiss_ = between(from.hiss, to.hiss);
    if (at_s > kClosed_s) hiss_ = 0.0;
    if (at_s > kBurst_s) hiss_ = 0.3 * std::exp(-(at_s - kBurst_s) / 0.012);
    constexpr std::array<double, 3> kWidths_hz = {70.0, 100.0, 140.0};
    for (std::size_t f = 0; f < mouth_.size(); ++f) {
        mouth_[f].tune(between(from.formants_hz[f], to.formants_hz[f]), kWidths_hz[f], rate_hz_);
    }
    teeth_.tune(between(from.hiss_hz, to.hiss_hz), 1800.0, rate_hz_);
}

// A pulse a period, its pitch falling through the word: open two thirds of the time.
double Voice::throat() {
    const double hz = pitch_hz_ * (1.0 - 0.35 * said_s_);
    pulse_ += hz / rate_hz_;
    if (pulse_ >= 1.0) pulse_ -= 1.0;
    constexpr double kOpen = 0.66;
    if (pulse_ > kOpen) return 0.0;
    const double x = pulse_ / kOpen;
    return x * x * (2.0 - 3.0 * x);  // slope of Rosenberg's pulse x^2 (1 - x), JASA 49(2), 1971
}

void Voice::render(StepSamples& into) {
    if (said_s_ < 0.0) return;
    shape(said_s_);
    for (float& sample : into) {
        double voiced = voiced_ * throat();
        for (Formant& formant : mouth_)
            voiced = formant.pass(voiced);
        const double hiss = teeth_.pass(hiss_ * static_cast<double>(random_.noise()));
        sample += static_cast<float>(kLevel * (voiced + hiss));
        said_s_ += 1.0 / rate_hz_;
    }
    if (said_s_ > kEnd_s) said_s_ = -1.0;
}

}  // namespace rankwright::simulator
