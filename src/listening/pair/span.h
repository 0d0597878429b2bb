// Where in a recording a reference and a pipe sound together.
#pragma once

#include "listening/measure.h"
#include "listening/pair/pair.h"

#include <span>

namespace rankwright::listening {

/// The part of `samples` (one channel) in which both stand: without what is quiet before and after
/// them, their speech and their dying away; and without what the one sounds before the other joins
/// it or after the other has ended (sounding_together, both_present). All of `samples` where
/// nothing of that is heard.
SteadySpan pair_span(std::span<const float> samples, const PairRequest& request);

}  // namespace rankwright::listening
