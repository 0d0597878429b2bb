// Which way to move a pipe's tuning device, and how far.
#pragma once

#include "organ/pipe.h"

#include <optional>
#include <string>

namespace rankwright::organ {

/// How the hand moves, for the drawing beside the pipe.
enum class Way { up, down, in, out, none };

/// What to do to bring a pipe nearer to its target.
struct Movement {
    Way way = Way::none;
    std::string words;                    ///< "sleeve down", "wire up", "cone out"
    std::optional<Millimetres> at_least;  ///< shortest likely movement; empty where not computable
    std::optional<Millimetres> at_most;   ///< longest likely movement
    std::string caution;                  ///< "settle the spring afterwards"; may be empty
};

/// Inside diameter of a pipe of Toepfer's normal scale, `half_tones` wider: 155.5 mm at 8′ C,
/// halving every 16 semitones (W. Adelung, Einführung in den Orgelbau, 1991, pp. 85-86).
Millimetres normal_diameter(Hertz pitch, double half_tones = 0.0);

/// From the mouth to the open end (or cap) of a round pipe that sounds `pitch`: open c/2f, stopped
/// and chimney c/4f, harmonic c/f, less the corrections at mouth and end. A diameter of 0 gives
/// the bare lengths. `speed_of_sound` in metres a second.
Millimetres body_length(PipeKind kind, Hertz pitch, Millimetres diameter, double speed_of_sound);

/// The movement that changes `pipe`, now sounding `now`, by `change` (positive = sharpen).
/// `speed_of_sound` in metres a second at the pipe. Millimetres only for sleeve, slide, cap and
/// stopper and from half a millimetre up: open pipes c/2f, stopped c/4f, harmonic at twice the
/// length, less their end corrections; a range, since the scale is unknown.
Movement movement(const Pipe& pipe, Hertz now, Cents change, double speed_of_sound);

}  // namespace rankwright::organ
