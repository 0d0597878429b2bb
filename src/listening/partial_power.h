// How loud a pipe is by its partials.
#pragma once

#include "listening/reading.h"

#include <cmath>

namespace rankwright::listening {

/// Power of a partial, 1 = a full-scale sine.
inline double power(const PartialLevel& partial) {
    return std::pow(10.0, partial.level.value() / 10.0);
}

/// Power of them together.
inline double power(const Partials& partials) {
    double sum = 0.0;
    for (const PartialLevel& partial : partials)
        sum += power(partial);
    return sum;
}

}  // namespace rankwright::listening
