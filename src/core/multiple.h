// Whether one pitch may be a partial of another.
#pragma once

#include "core/units.h"

#include <algorithm>
#include <cmath>
#include <optional>

namespace rankwright {

/// Which partial of `note` lies within `within` of `pitch`: 1 is the note itself; empty: none does.
/// From the seventeenth on any pitch lies within half a semitone of one. Requires both > 0.
inline std::optional<int> partial_near(Hertz note, Hertz pitch, Cents within) {
    const int number = std::max(1, static_cast<int>(std::lround(pitch / note)));
    if (apart(number * note, pitch) >= within) return std::nullopt;
    return number;
}

}  // namespace rankwright
