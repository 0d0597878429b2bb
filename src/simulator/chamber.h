// A chamber that sounds: pipes of exactly known pitch, wind, room, blower, voices.
#pragma once

#include "core/pipe_id.h"
#include "core/units.h"
#include "organ/instrument.h"

#include <cstdint>
#include <memory>
#include <span>
#include <string>
#include <string_view>

namespace rankwright::simulator {

/// Renders sound as the microphone hears it. All commands and `render` belong to one thread.
class Chamber {
  public:
    struct Parameters {
        SampleRate rate{48000.0};
        int channels = 1;        ///< 1 or 2 microphones in a standing-wave room
        std::uint64_t seed = 1;  ///< same seed, same chamber, same sound
        Cents mistuning{8.0};    ///< standard deviation of the pipes' errors at the start
        Cents wander{0.3};       ///< slow wander of a pipe in the middle compass
        Celsius temperature{20.0};
        bool blower = true;
    };
    Chamber(const organ::Instrument& instrument, const Parameters& parameters);
    ~Chamber();

    /// The next interleaved frames; size a multiple of the channels.
    void render(std::span<float> interleaved);

    void draw_stop(std::string_view division, std::string_view stop, bool on);
    void key_down(std::string_view division, int key);
    void key_up(std::string_view division, int key);
    /// The hand moves a pipe's tuning device: positive = up (flattens a sleeve or cap). A reed wire
    /// moves in tenths of a millimetre. The pipe is warmed and shaded by the hand for a while.
    void move_device(const PipeId& pipe, Millimetres up);
    void set_temperature(Celsius air);
    void say_next();  ///< a voice calls
    void knock();     ///< a knock on wood
    void set_tremulant(bool on);

    /// What this pipe would sound, alone and in steady wind, at the present temperature. For tests
    /// and for judging; no simulated technician may ask.
    Hertz true_pitch(const PipeId& pipe) const;

  private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace rankwright::simulator
