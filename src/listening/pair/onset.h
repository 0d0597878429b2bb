// When another tone set in beside one that stood alone.
#pragma once

#include "listening/pair/bands.h"

#include <optional>
#include <span>

namespace rankwright::listening {

/// Seconds from the middle of the span of `bands`, in which a reference of `pitch_hz` stood alone
/// and then not. Another tone changes its partials' phasors within a tenth of a second, after they
/// had stood; a room that fills takes longer, and two that beat don't stand. Empty where nothing
/// sets in so, as a soft one that beats several times a second. Allocates.
std::optional<double> onset_in(std::span<const PairBand> bands, double pitch_hz);

}  // namespace rankwright::listening
