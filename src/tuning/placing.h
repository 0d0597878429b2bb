// Which key each tone of a survey belongs to.
#pragma once

#include "core/units.h"
#include "tuning/single_pipe.h"

#include <optional>
#include <span>
#include <vector>

namespace rankwright::tuning {

/// The keys of the rank, and where it should stand as a whole.
struct RankKeys {
    std::vector<KeyPitch> keys;  ///< ascending keys; at the pitch expected today
    Cents offset_sd{30.0};       ///< how far the whole rank may stand from there, standard
};

struct ToneToPlace {
    Hertz pitch;
    Cents uncertainty;  ///< standard
    Seconds from, to;
};

/// How a tone may lie beside the pipe of its key.
enum class Slip {
    none,
    octave_up,
    octave_down,
    twelfth_up,
    fifteenth_up,
};
Cents size_of(Slip slip);

struct PlacedTone {
    std::optional<int> key;  ///< empty: no pipe of the rank
    Slip slip = Slip::none;
    Cents off;  ///< from where the rank as a whole puts that key, a slip taken out
};

struct Placing {
    std::vector<PlacedTone> tones;  ///< one for each tone given
    Cents offset{0.0};              ///< the whole rank from its expected pitch, by its middle
    Cents stop_interval{0.0};       ///< above the stop that was expected: 1200 = a 4′ for an 8′
    std::optional<int> or_keys_off;  ///< +1: the rank may as well have been played one key higher
                                     ///< and stand a semitone lower
};

/// Puts the tones in place all at once: each one by how near it lies to a key, all of them by one
/// common offset of the rank, and by the order of play (upward, downward, one chest side after the
/// other, with skips and repeats). A tone that fits nowhere stays without a key. The most likely
/// placing is found by Viterbi's method (G. D. Forney, Proc. IEEE 61, 1973, p. 268) for each offset
/// and for the usual wrong stops. Allocates.
Placing place(std::span<const ToneToPlace> tones, const RankKeys& rank);

}  // namespace rankwright::tuning
