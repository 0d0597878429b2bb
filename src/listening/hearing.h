// What the ear has to say at one moment: the live counterpart of a reading from a file.
#pragma once

#include "listening/reading.h"

#include <complex>
#include <optional>
#include <vector>

namespace rankwright::listening {

enum class Sounding {
    silence,    ///< no pipe: noise, blower, voices or nothing
    speaking,   ///< a pipe began and hasn't settled
    steady,     ///< a pipe stands
    moving,     ///< a pipe whose pitch is being moved (or drifts fast)
    disturbed,  ///< a pipe stands, but a knock, voice or clipping burst hides it: the reading
                ///< pauses
};

/// What may lie in the sound; each is told to the technician in words.
struct Suspicions {
    bool clipping = false;   ///< the converter is at its limit
    bool tremulant = false;  ///< level and pitch swing together at 3 to 9 a second
    bool fading = false;  ///< the machine's noise suppression or gain control fades a steady pipe
    bool mains_hum = false;        ///< a mains line that was there before the pipe spoke
    bool only_wind = false;        ///< wind rushes in a pipe that is silent
    bool octave_doubtful = false;  ///< fundamental missing and two octaves explain the partials
};

/// How loud the input is over the last quarter second, relative to a full-scale sine.
struct InputLevel {
    Decibels rms{-120.0};
    Decibels peak{-120.0};
    double clipped = 0.0;  ///< share of samples at the limit, 0 to 1
};

inline constexpr std::size_t kRibbonPartials = 4;

/// The first partials' phasors against whole multiples of the awaited pitch, a few dozen a second:
/// partial k turns once when it has gained one beat on k times that pitch.
struct PartialFrame {
    FrameIndex at;
    std::array<std::complex<float>, kRibbonPartials> phasor{};
};

struct Hearing {
    FrameIndex now;
    SampleRate rate{48000.0};
    Sounding sounding = Sounding::silence;
    int tone = 0;                         ///< counts tones heard; a new key is a new tone
    FrameIndex tone_began;                ///< when the present (or last) tone began
    std::optional<Hertz> coarse;          ///< nearest few cents, early; for naming the note only
    std::optional<PitchReading> reading;  ///< only while it is honest
    std::optional<double> drift_cents_a_second;  ///< pitch movement over the last seconds
    Decibels tone_level{-120.0};                 ///< harmonic power of the tone
    InputLevel input;
    Suspicions suspicions;
};

}  // namespace rankwright::listening
