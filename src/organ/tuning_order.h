// In which order stops and pipes are tuned.
#pragma once

#include "organ/instrument.h"

#include <vector>

namespace rankwright::organ {

/// The stops that have pipes: each after those it is tuned from, reeds after flues, otherwise as
/// one comes to them, floor by floor and division by division, with a stop that only borrows after
/// its owner. (Flues before reeds: common practice, no source.)
std::vector<StopRef> tuning_order(const Instrument& instrument);

/// Pipes of any stops in the order in which they are worked at: stop by stop as in tuning_order,
/// in each as one comes to them (walking_order), but none before the pipe it is tuned from, where
/// that is among them.
std::vector<Pipe> order_of_work(const Instrument& instrument, std::vector<Pipe> pipes);

}  // namespace rankwright::organ
