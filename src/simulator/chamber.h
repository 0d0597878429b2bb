// A chamber that sounds: pipes of exactly known pitch, wind, room, blower, voices.
#pragma once

#include "core/pipe_id.h"
#include "core/units.h"
#include "organ/instrument.h"

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace rankwright::simulator {

/// Renders sound as the microphone hears it. All commands and `render` belong to one thread. What
/// is asked for is heard from the next step of 64 frames on. Stops and divisions go by their id or
/// their name; commands for a pipe, stop or key that isn't there do nothing.
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
        Hertz mains{0.0};            ///< hum of the mains: 50 or 60; 0 = none
        Seconds reverberation{1.4};  ///< time for 60 dB in the middle frequencies
        Decibels gain{0.0};          ///< of the microphone: +20 overdrives it; it clips at ±1
        double handling = 1.0;       ///< how much a hand warms and shades a pipe; 0 = not at all
        /// How far off each other two stops' pipes of one key and division, standing side by side,
        /// still pull each other into one pitch (half the locking range): real ones 0.5 to 5 cents
        /// (order of magnitude from memory); 0 = none. Reeds a quarter of it.
        Cents drawing{0.0};
    };
    Chamber(const organ::Instrument& instrument, const Parameters& parameters);
    ~Chamber();
    Chamber(Chamber&&) noexcept;
    Chamber& operator=(Chamber&&) noexcept;

    /// The next interleaved frames; size a multiple of the channels. Allocates nothing.
    void render(std::span<float> interleaved);

    void draw_stop(std::string_view division, std::string_view stop, bool on);
    void key_down(std::string_view division, int key);
    void key_up(std::string_view division, int key);

    /// The hand moves a pipe's tuning device: positive = up (flattens with sleeve, slide, cap,
    /// stopper, scroll and wire; opens and sharpens with shade and flap) or out (sharpens with cone
    /// and ears). A reed wire moves in tenths of a millimetre. The pipe is warmed and shaded by the
    /// hand for a while, and a wire creeps on in the direction it was moved until settled.
    void move_device(const PipeId& pipe, Millimetres up);
    void settle_wire(const PipeId& pipe);  ///< what a wire would still creep, it does at once
    /// A tuft of cloth goes into a pipe's top: its wind still rushes, its tone stays audible by
    /// `leak`, or not at all without. Another one in takes the first one's place.
    void put_mute_in(const PipeId& pipe, std::optional<Decibels> leak = std::nullopt);
    void take_mute_out(const PipeId& pipe);

    /// The pipe's pallet stays open: it sounds whenever a stop that plays it is drawn.
    void set_cipher(const PipeId& pipe, bool on);

    /// The pipe is slow of speech: it creeps in from far below and takes so long to stand near its
    /// pitch. Nothing (0 s) gives it its own speech back. Holds from the next time it speaks.
    void set_speech(const PipeId& pipe, Seconds creeps);

    void set_temperature(Celsius air);
    void say_next();  ///< a voice calls
    void knock();     ///< a knock on wood
    void footstep();  ///< a step on the walkboard
    void set_tremulant(bool on);

    /// What this pipe would sound, alone (not drawn by another) and in steady wind, at the present
    /// temperature, when no hand is or was near. 0 for a pipe that isn't there. For tests and for
    /// judging; no simulated technician may ask.
    Hertz true_pitch(const PipeId& pipe) const;
    /// Cycles of its first partial since it was put on the wind, up to the next frame; empty when
    /// silent. Differences give the true mean pitch of a span as it sounded, drawn, wander and all.
    std::optional<double> cycles(const PipeId& pipe) const;
    std::vector<PipeId> muted() const;  ///< pipes with a mute in, by division, stop, row, key

  private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace rankwright::simulator
