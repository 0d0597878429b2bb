// How restless pipes are along the compass.
#pragma once

#include "core/units.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

/// Wander of a pipe of `pitch` (> 0), against that in the middle of the compass (recorded pipes).
inline double wander_along_compass(Hertz pitch) {
    return std::clamp(std::sqrt(261.6 / pitch.value()), 0.6, 3.5);
}

}  // namespace rankwright::listening
