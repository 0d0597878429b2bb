#include "organ/movement.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::organ {

namespace {

constexpr Millimetres kLeastWorthSaying{0.5};
// A sleeve or slide is wider than the body it goes round, so it lengthens the column by less than
// it moves: by the ratio of the areas, for a millimetre of metal and play on a 2-inch pipe about 8
// %.
constexpr double kWiderSleeve = 1.08;

struct HandWords {
    Way way;
    const char* words;
};

// G. L. Miller, The Recent Revolution in Organ Building (1913), ch. XI, for reed wires; the rest is
// common practice, no source.
HandWords sharpening(TuningDevice device) {
    switch (device) {
        case TuningDevice::sleeve:
            return {Way::down, "sleeve down"};
        case TuningDevice::slide:
            return {Way::down, "slide down"};
        case TuningDevice::cap:
            return {Way::down, "cap down"};
        case TuningDevice::stopper:
            return {Way::down, "stopper down"};
        case TuningDevice::cone:
            return {Way::out, "cone out"};
        case TuningDevice::scroll:
            return {Way::down, "scroll down"};
        case TuningDevice::shade:
            return {Way::up, "shade open"};
        case TuningDevice::flap:
            return {Way::up, "flap up"};
        case TuningDevice::ears:
            return {Way::out, "ears out"};
        case TuningDevice::reed_wire:
            return {Way::down, "wire down"};
        case TuningDevice::resonator_sleeve:
            return {Way::down, "resonator sleeve down"};
        case TuningDevice::resonator_scroll:
            return {Way::down, "resonator scroll down"};
        case TuningDevice::none:
            return {Way::none, "no device: cut to length, too flat"};
    }
    return {Way::none, ""};
}

HandWords flattening(TuningDevice device) {
    switch (device) {
        case TuningDevice::sleeve:
            return {Way::up, "sleeve up"};
        case TuningDevice::slide:
            return {Way::up, "slide up"};
        case TuningDevice::cap:
            return {Way::up, "cap up"};
        case TuningDevice::stopper:
            return {Way::up, "stopper up"};
        case TuningDevice::cone:
            return {Way::in, "cone in"};
        case TuningDevice::scroll:
            return {Way::up, "scroll up"};
        case TuningDevice::shade:
            return {Way::down, "shade closed"};
        case TuningDevice::flap:
            return {Way::down, "flap down"};
        case TuningDevice::ears:
            return {Way::in, "ears in"};
        case TuningDevice::reed_wire:
            return {Way::up, "wire up"};
        case TuningDevice::resonator_sleeve:
            return {Way::up, "resonator sleeve up"};
        case TuningDevice::resonator_scroll:
            return {Way::up, "resonator scroll up"};
        case TuningDevice::none:
            return {Way::none, "no device: cut to length, too sharp"};
    }
    return {Way::none, ""};
}

const char* caution_for(TuningDevice device, bool flatten) {
    switch (device) {
        case TuningDevice::reed_wire:
            return "settle the spring afterwards: it creeps";
        case TuningDevice::resonator_sleeve:
        case TuningDevice::resonator_scroll:
            return "it works together with the wire, and changes the strength";
        case TuningDevice::cone:
            return "the least that serves: coning tires the metal";
        case TuningDevice::cap:
        case TuningDevice::stopper:
            return flatten ? "near the end of its travel, don't force it" : "";
        default:
            return "";
    }
}

bool moves_the_end(TuningDevice device) {
    return device == TuningDevice::sleeve || device == TuningDevice::slide ||
           device == TuningDevice::cap || device == TuningDevice::stopper;
}

// Half tones of scale by which pipes of a kind lie off the normal one: narrowest and widest in use
// (common practice, no source).
std::pair<double, double> scales(PipeKind kind) {
    switch (kind) {
        case PipeKind::string:
            return {-14.0, -4.0};
        case PipeKind::stopped:
        case PipeKind::chimney:
            return {-12.0, 4.0};
        default:
            return {-6.0, 6.0};
    }
}

}  // namespace

Millimetres normal_diameter(Hertz pitch, double half_tones) {
    constexpr double kAtC = 155.5;  // 8′ C, 65.406 Hz
    constexpr double kC = 65.40639132514966;
    const double semitones = 12.0 * std::log2(pitch.value() / kC);
    return Millimetres{kAtC * std::exp2((half_tones - semitones) / 16.0)};
}

Millimetres body_length(PipeKind kind, Hertz pitch, Millimetres diameter, double speed_of_sound) {
    using std::numbers::pi;
    const double k = 2.0 * pi * pitch.value() / (1000.0 * speed_of_sound);  // per millimetre
    const double radius = diameter.value() / 2.0;
    // Levine & Schwinger, Phys. Rev. 73, 1948, p. 383: open end without a flange, low frequency.
    const double open_end = 0.6133 * radius;
    // Ingerslev & Frobenius, Trans. Danish Acad. Tech. Sci. 1, 1947: 2.3 r² / √(mouth width ×
    // cut-up); here for a mouth a quarter of the circumference wide, cut up a quarter of its width.
    const double mouth_width = pi * diameter.value() / 4.0;
    const double mouth = diameter.value() > 0.0 ? 2.3 * radius * radius / (mouth_width / 2.0) : 0.0;
    const double mouth_phase = std::atan(k * mouth);
    const double end_phase = k * open_end;
    switch (kind) {
        case PipeKind::stopped:
        case PipeKind::chimney:
            return Millimetres{(pi / 2.0 - mouth_phase) / k};
        case PipeKind::harmonic:
            return Millimetres{(2.0 * pi - mouth_phase - end_phase) / k};
        default:
            return Millimetres{(pi - mouth_phase - end_phase) / k};
    }
}

Movement movement(const Pipe& pipe, Hertz now, Cents change, double speed_of_sound) {
    Movement out;
    if (change == Cents{0.0}) return out;
    const bool flatten = change < Cents{0.0};
    const HandWords hand = flatten ? flattening(pipe.make.device) : sharpening(pipe.make.device);
    out.way = hand.way;
    out.words = hand.words;
    out.caution = caution_for(pipe.make.device, flatten);
    if (pipe.make.reed() || !moves_the_end(pipe.make.device)) return out;
    const Hertz then = transpose(now, change);
    const auto by = [&](double half_tones) {
        const Millimetres diameter = normal_diameter(now, half_tones);
        const Millimetres from = body_length(pipe.make.kind, now, diameter, speed_of_sound);
        const Millimetres to = body_length(pipe.make.kind, then, diameter, speed_of_sound);
        return Millimetres{std::abs((to - from).value())};
    };
    const auto [narrow, wide] = scales(pipe.make.kind);
    const Millimetres one = by(narrow), other = by(wide);
    if (std::max(one, other) < kLeastWorthSaying) return out;
    out.at_least = std::min(one, other);
    out.at_most = std::max(one, other);
    if (pipe.make.device == TuningDevice::sleeve || pipe.make.device == TuningDevice::slide)
        out.at_most = *out.at_most * kWiderSleeve;
    return out;
}

}  // namespace rankwright::organ
