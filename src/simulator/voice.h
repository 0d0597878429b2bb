// A voice that calls "next".
#pragma once

#include "core/units.h"
#include "simulator/random.h"
#include "simulator/sound_block.h"

#include <array>
#include <cstddef>

namespace rankwright::simulator {

/// A throat's pulses and a mouth's noise through three formants that move from sound to sound
/// (n - e - k - s - t), after the cascade synthesizer of Klatt, JASA 67(3), 1980.
class Voice {
  public:
    Voice(SampleRate rate, Random random);
    /// Begins the word; one being said is begun afresh.
    void say_next();
    void render(StepSamples& into);

  private:
    struct Formant {
        double feed = 0.0, back_1 = 0.0, back_2 = 0.0;  ///< of the resonance now
        double before = 0.0, before_that = 0.0;
        void tune(double hz, double width_hz, double rate_hz);
        double pass(double in);
    };
    double throat();
    void shape(double at_s);

    double rate_hz_;
    Random random_;
    double said_s_ = -1.0;  ///< since the word began; negative = silent
    double pitch_hz_ = 120.0;
    double pulse_ = 0.0;
    double voiced_ = 0.0, hiss_ = 0.0;
    std::array<Formant, 3> mouth_;
    Formant teeth_;
};

}  // namespace rankwright::simulator
