// From which pipe another one is tuned, at which interval, and how the two should beat.
#pragma once

#include "organ/target.h"

#include <optional>
#include <string>

namespace rankwright::organ {

/// A pipe's reference. When the interval is pure, the `reference_partial`-th partial of the
/// reference meets the `pipe_partial`-th of the pipe.
struct Reference {
    Pipe pipe;  ///< the reference, under the key that plays it
    int reference_partial = 1;
    int pipe_partial = 1;
    Hertz beat;         ///< the target: pipe_partial × pipe − reference_partial × reference
    std::string words;  ///< "from Octave 4′, the same key": how to call it
};

/// The reference of a pipe as its file says; empty for ranks tuned by the bearings or by target.
std::optional<Reference> reference_of(const Instrument& instrument, const Pipe& pipe,
                                      const Day& day);

/// The partials at which two pipes meet, m of the reference and n of the pipe, from how much higher
/// the pipe sounds: the nearest ratio of whole numbers up to 16, within a quarter tone; the simpler
/// one when several are near. Empty when there is none.
struct Meeting {
    int reference_partial = 1;
    int pipe_partial = 1;
};
std::optional<Meeting> meeting_of(Cents pipe_above_reference);

}  // namespace rankwright::organ
