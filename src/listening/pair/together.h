// Where in a recording two tones are needed to explain what sounds.
#pragma once

#include "listening/measure.h"
#include "listening/pair/pair.h"

#include <span>

namespace rankwright::listening {

/// The part of `span` of `samples` (one channel) in which the two of `reading`, made of all of it,
/// both sound: without a beginning and an end that one tone explains as well. At least a second
/// long, and all of `span` where they beat too slowly to be told from one within a second, or
/// `span` is too short.
SteadySpan sounding_together(std::span<const float> samples, const PairRequest& request,
                             SteadySpan span, const BeatReading& reading);

}  // namespace rankwright::listening
