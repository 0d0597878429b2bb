// How long things take where a reference and a pipe sound together.
#pragma once

#include "core/units.h"

#include <algorithm>

namespace rankwright::listening {

inline constexpr Seconds kChangeHolds{0.1};  ///< so long something else must be heard
inline constexpr double kFirstLookPeriods = 16.0;

/// `time`, or so many periods of a tone at `spacing_hz` if that is longer.
inline Seconds at_least(Seconds time, double periods, double spacing_hz) {
    return std::max(time, Seconds{periods / spacing_hz});
}

/// Of a pipe's speech, whose pitch says nothing.
inline Seconds speech(double spacing_hz) { return at_least(Seconds{0.12}, 16.0, spacing_hz); }

}  // namespace rankwright::listening
