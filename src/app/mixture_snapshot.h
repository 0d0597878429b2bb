// What the window shows of a mixture's key.
#pragma once

#include "app/mixture_work.h"
#include "overlay/snapshot.h"
#include "visit/run.h"

namespace rankwright::app {

/// Adds the key in hand, and says in words what sounds that should not; `out` has the pipe in hand.
void fill_mixture(overlay::Snapshot& out, const MixtureWork& work, const visit::Run& run);

}  // namespace rankwright::app
