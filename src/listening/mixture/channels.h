// One key heard by several microphones at once.
#pragma once

#include "listening/mixture/mixture.h"

#include <optional>
#include <vector>

namespace rankwright::listening {

/// What the channels of one recording say together, each read by `measure_mixture` with the same
/// request, whose unison that is; empty where none has a reading. A pipe's unrest and the room look
/// unlike from place to place, a pipe doesn't: what one channel takes for a pipe and another
/// doesn't is “cannot tell” (Untold::channels) unless that one is sure beyond doubt, and silent
/// what is so by the mean of their evidence. Pitches are weighed by their uncertainties, which grow
/// by as much as the channels differ (Birge, Physical Review 40, 1932); where they stand apart that
/// channel is believed that hears the pipe far more surely, if one does, and otherwise it is
/// “cannot tell” again. Of two pipes of one pitch that channel is believed that decides most.
/// Nothing is counted from a channel that hears the key 20 dB softer than another, nor of a pipe
/// from one whose band or bands of it don't hold that pipe (Untold::above, Untold::crowded). The
/// evidence of a pipe that sounds is the mean of those counted, 12 of each at most.
std::optional<MixtureReading> join_channels(
    const std::vector<std::optional<MixtureReading>>& channels, Hertz unison);

}  // namespace rankwright::listening
