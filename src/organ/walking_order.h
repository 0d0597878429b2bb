// Where each pipe stands in the organ, and in which order a technician comes to them.
#pragma once

#include "organ/instrument.h"

#include <compare>
#include <cstddef>
#include <vector>

namespace rankwright::organ {

/// Where a pipe stands. Compares as one walks: division by division from the lowest floor up, along
/// one side of the chest and then the other, and at each place rank by rank as the file lists them.
struct Standing {
    int level = 1;
    std::size_t division = 0;  ///< index into the instrument
    int side = 0;              ///< 0 = C side (or the only one), 1 = C♯ side
    std::size_t place = 0;     ///< along the chest, from the left
    std::size_t stop = 0;      ///< index into the division
    int row = 1;

    friend auto operator<=>(const Standing&, const Standing&) = default;
};

/// Where a pipe of `instrument` stands: with the stop that owns it. Requires its id to be there.
Standing standing_of(const Instrument& instrument, const PipeId& pipe);

/// The pipes in the order in which one comes to them, so that the next is always the next at hand.
std::vector<Pipe> walking_order(const Instrument& instrument, std::vector<Pipe> pipes);

}  // namespace rankwright::organ
