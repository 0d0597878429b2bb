// How pipes stand on the chest, for its plan and for the way a technician walks.
#pragma once

#include <cstddef>
#include <string>
#include <vector>

namespace rankwright::organ {

/// How the pipes stand on a chest.
enum class ChestArrangement {
    chromatic,       ///< in the order of the keys, tallest at the left
    sides_tall_out,  ///< C side and C♯ side, the tallest at both ends
    sides_tall_in,   ///< C side and C♯ side, the tallest in the middle
    thirds  ///< in major thirds: C E G♯ …, four groups, the tallest of each at its left
};

/// The keys first_key..last_key in the order in which their pipes stand, left to right, and where
/// the other side begins (index into the order; 0 = no sides).
struct StandingOrder {
    std::vector<int> keys;
    std::size_t other_side = 0;
};
/// `lowest_midi` is the MIDI number of key 1: it tells which keys belong to the C side.
StandingOrder standing_order(ChestArrangement chest, int first_key, int last_key,
                             int lowest_midi = 36);

}  // namespace rankwright::organ
