#include "tuning/settling.h"

#include <cmath>

namespace rankwright::tuning {

namespace {

// A pipe counts as settled once it has stood for this long with its mean known to a part of the
// tolerance …
constexpr Seconds kStandsFor{1.2};
constexpr double kKnownTo = 0.6;
// … and not drifting: half a cent in three seconds is a pipe still cooling from the hand.
constexpr double kDriftLimit_cents_a_second = 0.15;
constexpr double kDriftInSd = 3.0;
constexpr double kSettledDriftInSd = 6.0;
constexpr double kLeavesAt = 1.5;

}  // namespace

bool drifts(const SteadyMean& standing, bool settled) {
    const auto drift = standing.drift();
    return drift && std::abs(drift->cents_a_second) > kDriftLimit_cents_a_second &&
           std::abs(drift->cents_a_second) > (settled ? kSettledDriftInSd : kDriftInSd) * drift->sd;
}

bool settles(const Standing& standing) {
    const double off = std::abs(standing.off.value());
    const double tolerance = standing.tolerance.value();
    if (standing.settled) return off <= kLeavesAt * tolerance;
    return off <= tolerance && standing.uncertainty.value() <= kKnownTo * tolerance &&
           standing.stood >= kStandsFor;
}

}  // namespace rankwright::tuning
