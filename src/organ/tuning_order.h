// In which order stops are tuned.
#pragma once

#include "organ/instrument.h"

#include <vector>

namespace rankwright::organ {

/// The stops that have pipes: each after those it is tuned from, reeds after flues, otherwise as
/// one comes to them, floor by floor and division by division, with a stop that only borrows after
/// its owner. (Flues before reeds: common practice, no source.)
std::vector<StopRef> tuning_order(const Instrument& instrument);

}  // namespace rankwright::organ
