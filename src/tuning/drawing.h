// Whether two pipes draw each other, judged from what each does alone and what both do together.
#pragma once

#include "core/units.h"
#include "listening/pair/pair.h"
#include "listening/reading.h"

#include <optional>
#include <string>

namespace rankwright::tuning {

enum class Drawing {
    hear_alone,       ///< can't be known: one of the two wasn't heard alone
    unclear,          ///< heard too little for an answer at the stated risk
    not_drawn,        ///< together as alone, within what would matter
    pulled_together,  ///< one frequency where alone they differ
    drawn_nearer,     ///< they beat, but slower than they would alone
    pushed_apart      ///< they beat faster than they would alone
};

struct DrawingEvidence {
    std::optional<listening::PitchReading> reference;  ///< while it sounded alone
    std::optional<listening::PitchReading> pipe;       ///< while it sounded alone
    /// Both together; empty when the ear for two finds only one tone in them.
    std::optional<listening::BeatReading> together;
    /// Both together, read as if they were one pipe: how well one tone explains them tells whether
    /// there is more than one.
    std::optional<listening::PitchReading> as_one;
    int reference_partial = 1;  ///< which partials meet, as in PairRequest
    int pipe_partial = 1;
    /// How far one pipe's mean over a span strays from its mean over the next (standard deviation).
    Cents stray{0.25};
    /// Drawing by less than this isn't looked for: about what a single span can show.
    Cents matters{2.0};
};

struct DrawingVerdict {
    Drawing drawing = Drawing::hear_alone;
    std::optional<Cents> alone;     ///< from the pure interval alone, positive = the pipe is sharp
    std::optional<Cents> drawn_by;  ///< change of the difference: negative = nearer
    std::string advice;             ///< what to do, in the technician's words
};

/// How far the mean pitch of a pipe strays from one span to the next: recorded pipes vary by 0.1 to
/// 0.6 cent in windows of 120 ms above tenor C and by 0.5 to 2 in the bottom octaves, half of it
/// slower than a second. Requires both > 0.
Cents usual_stray(Hertz pitch, Seconds span);

/// Decides at 3 standard deviations (0.3 % false alarms where the pipes stray as told); "not drawn"
/// only where drawing by `matters` would be missed in at most 5 % of cases.
DrawingVerdict judge_drawing(const DrawingEvidence& evidence);

}  // namespace rankwright::tuning
