// How loud the input is, and whether its converter is at its limit.
#pragma once

#include "listening/hearing.h"

#include <array>
#include <span>

namespace rankwright::listening {

/// Of the samples: from so many at its limit on, the input counts as clipped.
inline constexpr double kClippedShare = 5e-4;

/// Level and clipping over the last quarter second, in steps of 10 ms.
class InputMeter {
  public:
    /// Takes one step's samples, all channels.
    void take(std::span<const float> samples);
    void reset();
    InputLevel level() const;

  private:
    static constexpr std::size_t kSteps = 25;
    struct Step {
        double energy = 0.0;
        double peak = 0.0;
        std::size_t clipped = 0;
        std::size_t samples = 0;
    };
    std::array<Step, kSteps> steps_{};
    std::size_t at_ = 0;
};

}  // namespace rankwright::listening
