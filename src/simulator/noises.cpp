#include "simulator/noises.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::simulator {

namespace {

using std::numbers::pi;

// Full scale = 0 dB. A principal lies about −32: the rumble is 30 dB under it, inside the 20 to
// 50 dB that recordings of blowers show.
constexpr double kRumble_rms = 0.0008;
constexpr double kShaftLine_level = 0.0005;
constexpr float kHiss_rms = 0.00004F;
constexpr float kRoom_rms = 0.00008F;
constexpr double kHum_level = 0.0004;
constexpr double kRumbleEdge_hz = 110.0;
constexpr double kRumbleFloor_hz = 25.0;
// About 1430 turns a minute: a four-pole motor on 50 Hz slips, so the line is near no sub-multiple.
constexpr double kShaft_hz = 23.8;

float share(double edge_hz, double rate_hz) {
    return static_cast<float>(1.0 - std::exp(-2.0 * pi * edge_hz / rate_hz));
}

}  // namespace

Background::Background(const Parameters& parameters, Random random)
    : rate_hz_(parameters.rate.value()),
      microphones_(parameters.microphones),
      blower_(parameters.blower),
      random_(random),
      slip_(0.0015, 8.0, static_cast<double>(kStepFrames) / parameters.rate.value(), random_),
      low_share_(share(kRumbleEdge_hz, rate_hz_)),
      lowest_share_(share(kRumbleFloor_hz, rate_hz_)) {
    if (blower_) {
        const double shaft = kShaft_hz * random_.uniform(0.995, 1.005);
        lines_.push_back({shaft, kShaftLine_level, random_.uniform()});
        lines_.push_back({2.0 * shaft, 0.4 * kShaftLine_level, random_.uniform()});
        // White noise through two equal poles of share s keeps s^4 (1 + r^2) / (1 - r^2)^3 of its
        // power, with r = 1 - s.
        const double s = low_share_;
        const double r2 = (1.0 - s) * (1.0 - s);
        const double power = s * s * s * s * (1.0 + r2) / std::pow(1.0 - r2, 3.0);
        rumble_gain_ = static_cast<float>(kRumble_rms / std::sqrt(power));
    }
    if (parameters.mains.value() > 0.0) {
        constexpr std::array<double, 6> kHarmonics = {1.0, 0.7, 0.35, 0.1, 0.2, 0.12};
        for (std::size_t i = 0; i < kHarmonics.size(); ++i) {
            lines_.push_back({parameters.mains.value() * static_cast<double>(i + 1),
                              kHum_level * kHarmonics[i], random_.uniform()});
        }
    }
}

void Background::render_lines(StepSamples& into) {
    const double slip = slip_.next(random_);
    for (std::size_t i = 0; i < lines_.size(); ++i) {
        Line& line = lines_[i];
        const bool shaft = blower_ && i < 2;
        const double turns = line.hz * (shaft ? 1.0 + slip : 1.0) / rate_hz_;
        std::complex<double> phasor = std::polar(line.level, 2.0 * pi * line.cycles);
        const std::complex<double> rotor = std::polar(1.0, 2.0 * pi * turns);
        for (float& sample : into) {
            sample += static_cast<float>(phasor.real());
            phasor *= rotor;
        }
        line.cycles += turns * static_cast<double>(kStepFrames);
        line.cycles -= std::floor(line.cycles);
    }
}

void Background::render_rumble(StepSamples& into) {
    for (float& sample : into) {
        low_[0] += low_share_ * (random_.noise() - low_[0]);
        low_[1] += low_share_ * (low_[0] - low_[1]);
        lowest_ += lowest_share_ * (low_[1] - lowest_);
        sample += rumble_gain_ * (low_[1] - lowest_);
    }
}

void Background::render(SoundBlock& block) {
    StepSamples common{};
    render_lines(common);
    if (blower_) render_rumble(common);
    for (float& sample : common)
        sample += kRoom_rms * random_.noise();
    for (std::size_t m = 0; m < microphones_; ++m) {
        const float near = m == 0 ? 1.0F : 0.8F;
        StepSamples& into = block.microphones[m];
        for (std::size_t n = 0; n < kStepFrames; ++n) {
            into[n] += near * common[n] + kHiss_rms * random_.noise();
        }
    }
}

void Knocks::strike(double hz, double level, double memory_s) {
    const double hertz = hz * random_.uniform(0.93, 1.07);
    const double keep = std::exp(-1.0 / (memory_s * rate_hz_));
    modes_.push_back({std::polar(level * random_.uniform(0.7, 1.3), random_.uniform(-0.5, 0.5)),
                      std::polar(keep, 2.0 * pi * hertz / rate_hz_)});
}

void Knocks::knock() {
    strike(210.0, 0.08, 0.030);
    strike(480.0, 0.06, 0.020);
    strike(870.0, 0.05, 0.014);
    strike(1530.0, 0.03, 0.009);
    strike(2600.0, 0.02, 0.005);
    rush_ = std::max(rush_, 0.04);
    rush_keep_ = std::exp(-static_cast<double>(kStepFrames) / (0.003 * rate_hz_));
}

void Knocks::footstep() {
    strike(62.0, 0.05, 0.060);
    strike(105.0, 0.04, 0.045);
    strike(240.0, 0.012, 0.025);
    rush_ = std::max(rush_, 0.004);
    rush_keep_ = std::exp(-static_cast<double>(kStepFrames) / (0.050 * rate_hz_));
}

void Knocks::render(StepSamples& into) {
    for (Mode& mode : modes_) {
        for (float& sample : into) {
            sample += static_cast<float>(mode.state.real());
            mode.state *= mode.rotor;
        }
    }
    constexpr double kGone = 1e-7;
    std::erase_if(modes_, [](const Mode& mode) { return std::abs(mode.state) < kGone; });
    if (rush_ > kGone) {
        for (float& sample : into)
            sample += static_cast<float>(rush_) * random_.noise();
        rush_ *= rush_keep_;
    }
}

}  // namespace rankwright::simulator
