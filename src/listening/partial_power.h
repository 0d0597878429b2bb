// How loud a pipe is by all its partials.
#pragma once

#include "listening/reading.h"

#include <cmath>

namespace rankwright::listening {

/// Power of them together, 1 = a full-scale sine.
inline double power(const Partials& partials) {
    double sum = 0.0;
    for (const PartialLevel& partial : partials)
        sum += std::pow(10.0, partial.level.value() / 10.0);
    return sum;
}

}  // namespace rankwright::listening
