#include "simulator/pipe_body.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::simulator {

namespace {

using std::numbers::pi;

constexpr double kSoundSpeed = 343.2;  // metres a second at 20 °C (ISO 9613-1:1993)

// Toepfer's Normalmensur: 155.5 mm at the 8′ C of 65.4 Hz, half on the 17th note (Adelung 1991).
double diameter_m(double pitch_hz, double half_tones_wider) {
    const double above_c = 12.0 * std::log2(pitch_hz / 65.406);
    return 0.1555 * std::exp2((half_tones_wider - above_c) / 16.0);
}

double half_tones_wider(organ::PipeKind kind, Random& random) {
    switch (kind) {
        case organ::PipeKind::string:
            return random.uniform(-12.0, -6.0);
        case organ::PipeKind::stopped:
        case organ::PipeKind::chimney:
        case organ::PipeKind::harmonic:
            return random.uniform(-4.0, 4.0);
        default:
            return random.uniform(-5.0, 2.0);
    }
}

// How much air column a metre of movement up adds. Common practice, no source, except that a
// sleeve, slide, cap or stopper adds its own movement, a sleeve a little less for its wider bore.
double effect_of(organ::TuningDevice device, Random& random) {
    switch (device) {
        case organ::TuningDevice::sleeve:
        case organ::TuningDevice::slide:
            return random.uniform(0.92, 1.0);
        case organ::TuningDevice::cap:
        case organ::TuningDevice::stopper:
            return 1.0;
        case organ::TuningDevice::scroll:
        case organ::TuningDevice::resonator_scroll:
            return random.uniform(0.3, 0.7);
        case organ::TuningDevice::cone:  // out, or opened: sharper
            return -random.uniform(0.2, 0.5);
        case organ::TuningDevice::shade:
        case organ::TuningDevice::flap:
            return -random.uniform(0.2, 0.6);
        case organ::TuningDevice::ears:
            return -random.uniform(0.08, 0.25);
        case organ::TuningDevice::reed_wire:
        case organ::TuningDevice::resonator_sleeve:
            return random.uniform(0.85, 1.0);
        case organ::TuningDevice::none:
            break;
    }
    return 0.0;
}

double quarter_waves(organ::PipeKind kind) {
    switch (kind) {
        case organ::PipeKind::stopped:
        case organ::PipeKind::chimney:
            return 1.0;
        case organ::PipeKind::harmonic:
            return 4.0;
        default:
            return 2.0;
    }
}

}  // namespace

PipeBody::PipeBody(const organ::Pipe& pipe, Hertz pitch, Random& random)
    : wave_number_(2.0 * pi * pitch.value() / kSoundSpeed),
      effect_(effect_of(pipe.make.device, random)) {
    if (pipe.make.reed()) {
        tongue_ = true;
        const bool by_wire = pipe.make.device == organ::TuningDevice::reed_wire;
        // About 24 mm free at middle C, 50 mm at 8′ C: common practice, no source.
        length_m_ = 0.024 * std::pow(261.6 / pitch.value(), 0.55) * random.uniform(0.8, 1.25);
        follows_tongue_ = random.uniform(0.35, 0.7);
        if (pipe.make.kind == organ::PipeKind::reed_short) {
            follows_tongue_ = random.uniform(0.7, 0.95);
        }
        if (!by_wire) {  // the resonator's length pulls the rest
            length_m_ = pi / wave_number_;
            follows_tongue_ = random.uniform(0.15, 0.3);
        }
        reach_m_ = 0.2 * length_m_;
        return;
    }
    const double radius = diameter_m(pitch.value(), half_tones_wider(pipe.make.kind, random)) / 2;
    const double width = 2.0 * pi * radius * random.uniform(0.2, 0.27);
    const double cut_up = width * random.uniform(0.2, 0.32);
    mouth_m_ = 2.3 * radius * radius / std::sqrt(width * cut_up);
    turns_ = quarter_waves(pipe.make.kind) * pi / 2.0;
    length_m_ = (turns_ - std::atan(wave_number_ * mouth_m_)) / wave_number_;
    reach_m_ = 0.1 * length_m_;
}

Cents PipeBody::shift(Millimetres at) const {
    const double moved = std::clamp(at.value() / 1000.0, -reach_m_, reach_m_);
    const double longer = moved * effect_;
    return tongue_ ? tongue_shift(longer) : flue_shift(longer);
}

Cents PipeBody::flue_shift(double longer_m) const {
    double k = wave_number_;
    for (int step = 0; step < 8; ++step) {  // Newton; the left side is smooth and rising in k
        const double missing = turns_ - k * (length_m_ + longer_m) - std::atan(k * mouth_m_);
        const double km = k * mouth_m_;
        k += missing / (length_m_ + longer_m + mouth_m_ / (1.0 + km * km));
    }
    return Cents{1200.0 * std::log2(k / wave_number_)};
}

Cents PipeBody::tongue_shift(double longer_m) const {
    return Cents{-2400.0 * follows_tongue_ * std::log2(1.0 + longer_m / length_m_)};
}

}  // namespace rankwright::simulator
