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

/// The movement that changes `pipe`, now sounding `now`, by `change` (positive = sharpen).
/// `speed_of_sound` in metres a second at the pipe. Millimetres only for sleeve, slide, cap and
/// stopper and from half a millimetre up: open pipes c/2f, stopped c/4f, harmonic at twice the
/// length, less their end corrections; a range, since the scale is unknown.
Movement movement(const Pipe& pipe, Hertz now, Cents change, double speed_of_sound);

}  // namespace rankwright::organ
