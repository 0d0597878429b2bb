// What is expected of a mixture's pipes before they are heard. Found from recorded pipes.
#pragma once

#include <cmath>

namespace rankwright::listening::mixture_prior {

inline constexpr double kWander_cents = 0.08;  ///< of the first term of a pipe's wander
inline constexpr double kWanderFall = 0.6;     ///< term m is smaller by m to this power
/// Power of a partial's own slow gain as a share of its level, and its fall with the term's number.
inline constexpr double kUnrest = 0.07 * 0.07;
inline constexpr double kUnrestFall = 1.4;
/// At most, where it is asked who sounds: with more, a loud pipe's gains explain a soft one that
/// stands two or three cycles beside.
inline constexpr double kMostUnrest = 0.09 * 0.09;
inline constexpr double kLevelSpread = 2.0;  ///< of a partial's level: ln power, 9 dB
inline constexpr double kTimbreFall = 2.0;   ///< ln power against ln of the partial's number

/// −ln of the heavy-tailed density of a partial's level, `x` = ln power less what is expected.
inline double level_cost(double x) {
    constexpr double kNu = 3.0;
    return 0.5 * (kNu + 1.0) * std::log1p(x * x / (kNu * kLevelSpread * kLevelSpread));
}

/// Power that a partial's own unrest spreads around it, as a share of its power; `cycles` away over
/// the span.
inline double pedestal(double cycles) {
    constexpr double kShare = 0.02, kWidth_cycles = 1.0;
    const double x = cycles / kWidth_cycles;
    return kShare / ((1.0 + x * x) * std::sqrt(1.0 + x * x));
}

/// The same in a closer look, whose gains follow what is slow of it: what they leave, over the
/// noise there. From muted pipes of recorded keys.
inline double far_unrest(double cycles) {
    constexpr double kShare = 5.5e-4, kWidth_cycles = 6.2;
    const double x = cycles / kWidth_cycles, spread = 1.0 + x * x;
    return kShare / (spread * spread * spread);
}

}  // namespace rankwright::listening::mixture_prior
