// What moving a device really does to the pipes of a rank, learned from the moves that were heard.
#pragma once

#include "core/units.h"

#include <optional>
#include <string>
#include <vector>

namespace rankwright::organ {

/// Remembers the moves on one rank. A tap on a short pipe changes its pitch more than on a long
/// one, as the lengths go, so what one pipe taught serves the next.
class LearnedMoves {
  public:
    /// A move was heard: the pipe sounded `before` and changed by `change`. Changes under a tenth
    /// of a cent teach nothing. `by` is the movement where it is known. [any]
    void moved(Hertz before, Cents change, std::optional<Millimetres> by = std::nullopt);
    /// Another rank, or another device: start anew.
    void forget();

    /// How many moves like the last one in that direction (or, if there was none, in the other)
    /// bring `needed`; empty before the first.
    std::optional<double> moves_for(Hertz now, Cents needed) const;
    /// The same in words: "about two taps like the last"; empty before the first.
    std::string amount(Hertz now, Cents needed) const;
    /// How far to move for `needed`, from the last five movements whose length was known: their
    /// median effect. Empty before the first.
    std::optional<Millimetres> millimetres_for(Hertz now, Cents needed) const;

  private:
    struct Move {
        double effect;  ///< cents per hertz of the pipe's pitch: the same on every length
        std::optional<double> effect_per_mm;
    };
    std::vector<Move> moves_;
};

}  // namespace rankwright::organ
