// Which of a key's pipes aren't told apart yet.
#pragma once

#include "listening/mixture/bands.h"
#include "listening/mixture/mixture.h"
#include "listening/mixture/presence.h"

#include <span>

namespace rankwright::listening {

/// What a key's hearing knows of one pipe beside its reading.
struct UnresolvedPipe {
    MixtureReach reach;
    PresenceEvidence evidence;
    double strongest_hz = 0.0;  ///< the highest strong partial, if it sounds
};

/// Names in each reading the pipes that hide it or may be taken for it, and how long a span would
/// tell them apart. Of two that both sound: two thirds of a turn of their beat, by the highest
/// strong partials that meet. Of one that can't be told: a whole turn where the lowest
/// meet, by where it would most likely stand, or three times the span, whichever is more. Where it
/// can't be told for another reason, says which, unless that stands there already. `seconds`: the
/// span heard.
/// \pre as many readings as pipes.
void name_unresolved(std::span<MixturePipeReading> readings, std::span<const UnresolvedPipe> pipes,
                     double seconds);

}  // namespace rankwright::listening
