// Where in a recording the key of several pipes is held.
#pragma once

#include "core/units.h"
#include "listening/measure.h"

#include <span>

namespace rankwright::listening {

/// The longest part of `samples` (one channel, free of a constant) through which a key is held, by
/// its level alone: without what is quiet before and after it, its pipes' speech and their dying
/// away. All of `samples` where the sound neither begins nor ends in them, or too little would be
/// left.
SteadySpan held_span(std::span<const float> samples, SampleRate rate);

}  // namespace rankwright::listening
