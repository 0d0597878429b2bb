// Small sums that the whole folder does.
#pragma once

#include <numbers>

namespace rankwright::listening {

/// A whole turn, radians.
constexpr double kTurn = 2.0 * std::numbers::pi;

/// Cents of a small relative change of frequency, 1200 / ln 2: interval() for x near 0 of 1 + x.
constexpr double kCents = 1200.0 / std::numbers::ln2;

/// One cent as a small relative change of frequency.
constexpr double kCent = 1.0 / kCents;

constexpr double square(double x) { return x * x; }

}  // namespace rankwright::listening
