// A small instrument with one stop of every kind of pipe, and plain measurements of its sound, by
// other means than the product's.
#pragma once

#include "organ/instrument.h"
#include "simulator/chamber.h"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <string>
#include <utility>
#include <vector>

namespace rankwright::simulator {

inline constexpr std::pair<organ::PipeKind, const char*> kKinds[] = {
    {organ::PipeKind::open, "open"},
    {organ::PipeKind::tapered, "tapered"},
    {organ::PipeKind::stopped, "stopped"},
    {organ::PipeKind::chimney, "chimney"},
    {organ::PipeKind::harmonic, "harmonic"},
    {organ::PipeKind::string, "string"},
    {organ::PipeKind::reed_full, "reed-full"},
    {organ::PipeKind::reed_half, "reed-half"},
    {organ::PipeKind::reed_short, "reed-short"}};

inline organ::Stop stop_of(organ::PipeKind kind, const std::string& name) {
    organ::Stop stop;
    stop.id = name;
    stop.name = name;
    organ::MakeRange range;
    range.make.kind = kind;
    const bool closed = kind == organ::PipeKind::stopped || kind == organ::PipeKind::chimney;
    if (closed) range.make.device = organ::TuningDevice::cap;
    if (range.make.reed()) {
        range.make.device = organ::TuningDevice::reed_wire;
        range.make.temperature_share = 0.2;
    }
    stop.makes = {range};
    return stop;
}

inline organ::Instrument one_of_each() {
    organ::Instrument instrument;
    organ::Division great;
    great.id = "great";
    great.name = "Great";
    for (const auto& [kind, name] : kKinds)
        great.stops.push_back(stop_of(kind, name));
    instrument.divisions.push_back(great);
    return instrument;
}

/// Parameters of a still chamber: no wander, no blower, no hand's warmth.
inline Chamber::Parameters still() {
    Chamber::Parameters parameters;
    parameters.wander = Cents{0.0};
    parameters.blower = false;
    parameters.handling = 0.0;
    return parameters;
}

inline std::vector<float> heard(Chamber& chamber, double seconds, std::size_t channels = 1,
                                double rate_hz = 48000.0) {
    std::vector<float> samples(static_cast<std::size_t>(std::lround(seconds * rate_hz)) * channels);
    chamber.render(samples);
    return samples;
}

/// Amplitude and phase of the tone at `hz` in samples[from, from + count), under a Hann window.
inline std::complex<double> tone(const std::vector<float>& samples, std::size_t from,
                                 std::size_t count, double hz, double rate_hz = 48000.0) {
    const double turn = 2.0 * std::numbers::pi / double(count);
    const std::complex<double> rotor = std::polar(1.0, -2.0 * std::numbers::pi * hz / rate_hz);
    const std::complex<double> window_rotor = std::polar(1.0, turn);
    std::complex<double> phasor = 1.0;
    std::complex<double> window = 1.0;
    std::complex<double> sum = 0.0;
    for (std::size_t n = 0; n < count; ++n) {
        sum += (1.0 - window.real()) * double(samples[from + n]) * phasor;
        phasor *= rotor;
        window *= window_rotor;
    }
    return 2.0 * sum / double(count);
}

/// The pitch of partial `number`, over its number, by the turn of its phase from the first half of
/// the samples to the second.
inline Hertz partial_pitch(const std::vector<float>& samples, std::size_t from, Hertz near,
                           int number, double rate_hz = 48000.0) {
    const std::size_t half = (samples.size() - from) / 2;
    const double hz = near.value() * number;
    const std::complex<double> first = tone(samples, from, half, hz, rate_hz);
    const std::complex<double> second = tone(samples, from + half, half, hz, rate_hz);
    // `tone` counts phase from its own start: take the expected turn over half the span away.
    const double expected = 2.0 * std::numbers::pi * hz / rate_hz * double(half);
    const double turn = std::arg(second * std::conj(first) * std::polar(1.0, -expected));
    return Hertz{(hz + turn * rate_hz / (2.0 * std::numbers::pi * double(half))) / number};
}

inline double decibels(double amplitude) { return 20.0 * std::log10(amplitude + 1e-15); }

}  // namespace rankwright::simulator
