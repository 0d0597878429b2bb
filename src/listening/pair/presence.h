// Of a span in which two are heard, the part in which both sound: one of them may have begun later,
// or ended earlier, than the other.
#pragma once

#include "listening/measure.h"
#include "listening/pair/pair.h"

#include <span>

namespace rankwright::listening {

/// `span` of `samples` (one channel), of which `reading` was made, without what goes before one of
/// the two begins and after one of them ends, where that explains the sound much better than that
/// both sound throughout: the fit of the two is made again with one of them silent for so long, up
/// to 3 s at either end, 5 s in the bass. `span` itself where two aren't heard in what would be
/// left.
SteadySpan both_present(std::span<const float> samples, const PairRequest& request, SteadySpan span,
                        const BeatReading& reading);

}  // namespace rankwright::listening
