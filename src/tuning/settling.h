// When a pipe is done: the same rules whatever it is tuned by.
#pragma once

#include "core/units.h"
#include "tuning/steady_mean.h"

namespace rankwright::tuning {

/// Whether the pitch clearly goes one way: a pipe still cooling from the hand, or a body near it.
/// For a pipe that has settled it must be clearer, since wander alone looks like drift now and
/// then.
bool drifts(const SteadyMean& standing, bool settled);

/// What is judged: a pipe that isn't drifting.
struct Standing {
    Cents off;          ///< from where it should be
    Cents uncertainty;  ///< standard, of `off`
    Cents tolerance;
    Seconds stood{0.0};    ///< since it was last moved
    bool settled = false;  ///< it was so already
};

/// Inside the tolerance, known well enough to say so, and standing long enough. A settled pipe
/// stays so until it is clearly outside, or the word would flicker on the edge.
bool settles(const Standing& standing);

}  // namespace rankwright::tuning
