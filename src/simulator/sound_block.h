// The step in which the chamber is computed, so that chunks asked for never change the sound.
#pragma once

#include <array>
#include <cstddef>

namespace rankwright::simulator {

inline constexpr std::size_t kStepFrames = 64;
inline constexpr std::size_t kMostMicrophones = 2;

using StepSamples = std::array<float, kStepFrames>;

/// One step of sound on its way to the microphones.
struct SoundBlock {
    std::array<StepSamples, kMostMicrophones> microphones{};
    StepSamples to_room{};  ///< what the reverberation is fed with
    StepSamples events{};   ///< voices, knocks and steps, before the room
};

}  // namespace rankwright::simulator
