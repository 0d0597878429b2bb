// The instrument as its file describes it.
#pragma once

#include "core/result.h"
#include "core/units.h"
#include "organ/pipe.h"
#include "organ/temperament.h"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace rankwright::organ {

/// How the pipes stand on a chest.
enum class ChestArrangement {
    chromatic,       ///< in the order of the keys, tallest at the left
    sides_tall_out,  ///< C side and C♯ side, the tallest at both ends
    sides_tall_in,   ///< C side and C♯ side, the tallest in the middle
    thirds           ///< in major thirds: C E G♯ …, four groups
};

/// Pitch of a stop as an exact ratio of feet: 8, 2 2/3 = 8/3, 1 3/5 = 8/5.
struct Footage {
    int numerator = 8;
    int denominator = 1;
    /// Sounding pitch over that of an 8′ pipe on the same key: 8 / feet.
    double ratio() const { return 8.0 * denominator / numerator; }
};

/// How the pipes from `first_key` up to the next range are made.
struct MakeRange {
    int first_key = 1;
    PipeMake make;
};

/// One stop with a single rank. Mixtures have several rows.
struct Stop {
    std::string id;    ///< slug, lasting
    std::string name;  ///< "Principal 8′"
    Footage footage;
    int first_key = 1;
    int last_key = 61;
    std::vector<MakeRange> makes;  ///< ascending; the first starts at or below first_key
};

struct Division {
    std::string id;
    std::string name;
    int keys = 61;
    int lowest_midi = 36;  ///< key 1; 36 = the C of an 8′ octave
    ChestArrangement chest = ChestArrangement::chromatic;
    std::vector<Stop> stops;
};

struct Instrument {
    std::string name;
    Hertz a{440.0};    ///< the A at which the organ stands …
    Celsius at{20.0};  ///< … at this temperature
    Temperament temperament;
    std::vector<Division> divisions;
};

/// One stop of an instrument; valid as long as the instrument.
struct StopRef {
    const Division* division = nullptr;
    const Stop* stop = nullptr;
};

/// Finds `Stop` or `Division/Stop` by name or id, whatever the case and the kind of foot mark.
/// Fails when it is missing (naming the nearest) or stands in several divisions.
Result<StopRef> find_stop(const Instrument& instrument, std::string_view name);

/// The pipes of a stop, by row, then key.
std::vector<Pipe> pipes(const StopRef& stop);
/// Every pipe of the instrument, by division, stop, row, key.
std::vector<Pipe> pipes(const Instrument& instrument);

/// The keys first_key..last_key in the order in which their pipes stand, left to right, and where
/// the other side begins (index into the order; 0 = no sides).
struct StandingOrder {
    std::vector<int> keys;
    std::size_t other_side = 0;
};
StandingOrder standing_order(ChestArrangement chest, int first_key, int last_key);

}  // namespace rankwright::organ
