#include "simulator/room.h"

#include <cmath>
#include <numbers>

namespace rankwright::simulator {

namespace {

// 30 to 58 ms, without common factors at 48 kHz, so that echoes don't fall together.
constexpr std::array<double, 8> kLengths_s = {0.029854, 0.033354, 0.038896, 0.042771,
                                              0.046896, 0.049979, 0.054521, 0.058271};
constexpr double kReverberant_db = -4.0;  // beside the direct sound, near the pipes
constexpr double kTrebleEdge_hz = 9000.0;
constexpr float kNoDenormals = 1e-15F;

}  // namespace

Room::Room(SampleRate rate, Seconds reverberation, std::size_t microphones, Random random)
    : microphones_(microphones),
      treble_loss_(
          static_cast<float>(std::exp(-2.0 * std::numbers::pi * kTrebleEdge_hz / rate.value()))) {
    double kept = 0.0;
    for (std::size_t i = 0; i < kLines; ++i) {
        const double frames = std::round(kLengths_s[i] * rate.value());
        Line& line = lines_[i];
        line.samples.assign(static_cast<std::size_t>(frames), 0.0F);
        const double gain = std::pow(10.0, -3.0 * frames / rate.value() / reverberation.count());
        line.gain = static_cast<float>(gain);
        kept += gain * gain / kLines;
        for (float& weight : line.to_microphone)
            weight = random.uniform() < 0.5 ? -1.0F : 1.0F;
    }
    level_ = static_cast<float>(std::pow(10.0, kReverberant_db / 20.0) * std::sqrt(1.0 - kept));
    events_.assign(static_cast<std::size_t>(0.03 * rate.value()) + 1, 0.0F);
    for (auto& microphone : taps_) {
        for (Tap& tap : microphone) {
            tap.back = static_cast<std::size_t>(random.uniform(0.003, 0.028) * rate.value());
            tap.gain = static_cast<float>(random.uniform(-0.4, 0.4));
        }
    }
}

void Room::render(SoundBlock& block) {
    render_events(block);
    render_reverberation(block);
}

void Room::render_events(SoundBlock& block) {
    const std::size_t size = events_.size();
    for (std::size_t n = 0; n < kStepFrames; ++n) {
        events_[events_at_] = block.events[n];
        block.to_room[n] += block.events[n];
        for (std::size_t m = 0; m < microphones_; ++m) {
            float sum = block.events[n];
            for (const Tap& tap : taps_[m]) {
                const std::size_t from =
                    events_at_ >= tap.back ? events_at_ - tap.back : events_at_ + size - tap.back;
                sum += tap.gain * events_[from];
            }
            block.microphones[m][n] += sum;
        }
        events_at_ = events_at_ + 1 == size ? 0 : events_at_ + 1;
    }
}

void Room::render_reverberation(SoundBlock& block) {
    constexpr float kEvenShare = 0.35355339F;  // 1 / sqrt(8)
    std::array<float, kLines> out{};
    for (std::size_t n = 0; n < kStepFrames; ++n) {
        for (std::size_t i = 0; i < kLines; ++i) {
            Line& line = lines_[i];
            const float back = line.gain * line.samples[line.at];
            line.dull = back + treble_loss_ * (line.dull - back);
            out[i] = line.dull;
        }
        for (std::size_t m = 0; m < microphones_; ++m) {
            float sum = 0.0F;
            for (std::size_t i = 0; i < kLines; ++i)
                sum += lines_[i].to_microphone[m] * out[i];
            block.microphones[m][n] += level_ * sum;
        }
        for (std::size_t half = 1; half < kLines; half *= 2) {  // Hadamard's matrix, by butterflies
            for (std::size_t i = 0; i < kLines; i += 2 * half) {
                for (std::size_t j = i; j < i + half; ++j) {
                    const float a = out[j];
                    out[j] = a + out[j + half];
                    out[j + half] = a - out[j + half];
                }
            }
        }
        const float in = kEvenShare * block.to_room[n] + kNoDenormals;
        for (std::size_t i = 0; i < kLines; ++i) {
            Line& line = lines_[i];
            line.samples[line.at] = in + kEvenShare * out[i];
            line.at = line.at + 1 == line.samples.size() ? 0 : line.at + 1;
        }
    }
}

}  // namespace rankwright::simulator
