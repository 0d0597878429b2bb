// What a chamber sounds of besides its pipes.
#pragma once

#include "core/units.h"
#include "simulator/random.h"
#include "simulator/sound_block.h"

#include <array>
#include <complex>
#include <vector>

namespace rankwright::simulator {

/// What never stops: the blower's rumble with its shaft's line, mains hum, the room and the
/// microphone's own hiss.
class Background {
  public:
    struct Parameters {
        SampleRate rate{48000.0};
        std::size_t microphones = 1;
        bool blower = true;
        Hertz mains{0.0};  ///< 50 or 60; 0 = no hum
    };
    Background(const Parameters& parameters, Random random);
    void render(SoundBlock& block);

  private:
    struct Line {
        double hz = 0.0;
        double level = 0.0;
        double cycles = 0.0;
    };
    void render_lines(StepSamples& into);
    void render_rumble(StepSamples& into);

    double rate_hz_;
    std::size_t microphones_;
    bool blower_;
    Random random_;
    std::vector<Line> lines_;
    Stray slip_;  ///< the induction motor's speed strays with its load
    float low_share_;
    float lowest_share_;
    std::array<float, 2> low_{};
    float rumble_gain_ = 0.0F;
    float lowest_ = 0.0F;
};

/// Things struck: a few damped modes and a short rush of noise each.
class Knocks {
  public:
    Knocks(SampleRate rate, Random random) : rate_hz_(rate.value()), random_(random) {}
    void knock();     ///< wood, by hand or tool
    void footstep();  ///< on a walkboard
    void render(StepSamples& into);

  private:
    struct Mode {
        std::complex<double> state;
        std::complex<double> rotor;
    };
    void strike(double hz, double level, double memory_s);

    double rate_hz_;
    Random random_;
    std::vector<Mode> modes_;
    double rush_ = 0.0;       ///< level of the noise …
    double rush_keep_ = 0.0;  ///< … and what is left of it a step later
};

}  // namespace rankwright::simulator
