// Where mains hum stands.
#pragma once

#include "core/units.h"

#include <cmath>

namespace rankwright::listening {

/// Mains hold 50 or 60 Hz to within a thousandth, and hum of them or of rectifiers, an octave
/// above, is steadier than any pipe. Common practice, no source.
inline bool on_mains(Hertz pitch) {
    constexpr double kMainsHold = 0.001;
    for (const double mains : {50.0, 60.0, 100.0, 120.0})
        if (std::abs(pitch.value() - mains) < kMainsHold * mains) return true;
    return false;
}

}  // namespace rankwright::listening
