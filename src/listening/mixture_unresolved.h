// Which of a key's pipes aren't told apart yet.
#pragma once

#include "listening/mixture.h"
#include "listening/mixture_bands.h"

#include <span>

namespace rankwright::listening {

/// Names in each reading the pipes that hide it or may be taken for it, and how long a span would
/// tell them apart. `strongest_hz`: the highest strong partial of each that sounds; `seconds`: the
/// span heard.
void name_unresolved(std::span<MixturePipeReading> readings, std::span<const MixtureReach> reach,
                     std::span<const double> strongest_hz, double seconds);

}  // namespace rankwright::listening
