// A pipe on the wind: the oscillator that turns a voicing and a pitch into sound.
#pragma once

#include "core/units.h"
#include "simulator/random.h"
#include "simulator/sound_block.h"
#include "simulator/voicing.h"

#include <array>
#include <complex>
#include <span>
#include <vector>

namespace rankwright::simulator {

/// The pipe's own noise: wind rushing past the mouth, coloured by the body's resonances, which lie
/// a little sharp of the sounding partials and are broad (Angster, Rucz and Miklos, Acoustics
/// Today, Spring 2017, p. 15).
class WindNoise {
  public:
    WindNoise(const Voicing& voicing, double pitch_hz, double rate_hz, Random& random);
    /// The next sample, RMS 1.
    float next(Random& random);

  private:
    float raw(Random& random);

    std::vector<float> tube_;
    std::size_t at_ = 0;
    float part_ = 0.0F;        ///< of a sample by which the way is longer than whole samples
    float reflection_ = 0.0F;  ///< negative in a stopped pipe
    float smooth_ = 0.0F;
    float soften_ = 0.0F;
    float gain_ = 1.0F;
};

/// One phase rules all partials, so that they are strictly harmonic; each step starts from that
/// phase in double precision and turns every partial by its own rotor.
class SoundingPipe {
  public:
    struct Place {
        double rate_hz;
        std::size_t microphones;
        /// Standard deviation of the slow wander in the middle compass. At 0 the air between pipe
        /// and microphone is still too, and all partials are exact to the last digit.
        double wander_cents;
    };
    /// `paths` draws how the sound reaches each microphone; the same pipe has the same paths.
    SoundingPipe(const Voicing& voicing, double pitch_hz, const Place& place, Random paths,
                 Random chance);

    void speak();
    void release() { wind_on_ = false; }
    bool silent() const { return !wind_on_ && speech_ < kSilent; }

    /// Begins the next step: what the pipe would sound in it alone, its wander and speech in it.
    /// `pitch_hz` in steady wind.
    double breathe(double pitch_hz);
    /// Adds the step begun. `hz` as it sounds among its neighbours, `strength` beside that alone;
    /// `tone` = how much of it a mute in its top lets through, 0 to 1; `wind` = level of the wind,
    /// 1 = steady.
    void render(SoundBlock& block, double hz, double strength, double tone, double wind);

    /// Level of the first partial when the pipe stands, and in this step, its phase where it leaves
    /// the pipe, and the last `strength`.
    double standing_force() const { return voicing_.partials.front().level; }
    double force() const { return next_speech_ * standing_force(); }
    double radians() const;
    double strength() const { return strength_; }

    /// Cycles of the first partial since the pipe was put on the wind, and in the last step alone.
    double cycles() const { return cycles_; }
    double last_step_cycles() const { return step_cycles_; }

  private:
    static constexpr double kSilent = 1e-5;
    static constexpr std::size_t kLanes = 8;
    struct Air {                    ///< how one partial reaches one microphone
        std::complex<float> still;  ///< its path in still air
        std::complex<float> stray, smoothed;
        float depth = 0.0F;
    };
    struct Lanes {  // eight partials side by side, for the vector units
        std::array<float, kLanes> re{}, im{}, rotor_re{}, rotor_im{};
        std::array<std::array<float, kLanes>, kMostMicrophones> path_re{}, path_im{};
        std::array<std::array<Air, kLanes>, kMostMicrophones> air{};
    };

    void lay_paths(const Place& place, double pitch_hz, Random& paths);
    void stir_air();
    double advance_speech();
    double cents_off(double speech);
    void set_phasors(double hz, double from, double to);
    void add_tone(SoundBlock& block, float from, float to);
    void add_noise(SoundBlock& block, double speech, double wind);

    Voicing voicing_;
    double rate_hz_;
    double step_s_;
    std::size_t microphones_;
    std::vector<Lanes> lanes_;
    Random chance_;
    double wander_scale_;
    double stirred_;  ///< how much the air moves: 1 = as usual, 0 = not
    Stray slow_, jitter_, level_;
    double smoothed_ = 0.0;
    double speech_ = 0.0;       ///< 0 silent … 1 steady
    double next_speech_ = 0.0;  ///< at the end of the step begun
    double strength_ = 1.0;
    double glide_ = 0.0;
    double gain_ = 0.0;
    bool wind_on_ = false;
    double cycles_ = 0.0;
    double step_cycles_ = 0.0;
    WindNoise noise_;
};

}  // namespace rankwright::simulator
