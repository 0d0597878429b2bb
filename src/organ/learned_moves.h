// What moving a device really does to the pipes of a rank, learned from the moves that were heard.
#pragma once

#include "core/units.h"

#include <optional>
#include <string>

namespace rankwright::organ {

/// Remembers the moves on one rank. A tap on a short pipe changes its pitch more than on a long
/// one, as the lengths go, so what one pipe taught serves the next.
class LearnedMoves {
  public:
    /// A move was heard: the pipe sounded `before` and changed by `change`. Changes under a tenth
    /// of a cent teach nothing. [any]
    void moved(Hertz before, Cents change);
    /// Another rank, or another device: start anew.
    void forget();

    /// How many moves like the last one in that direction (or, if there was none, in the other)
    /// bring `needed`; empty before the first.
    std::optional<double> moves_for(Hertz now, Cents needed) const;
    /// The same in words: "about two taps like the last"; empty before the first.
    std::string amount(Hertz now, Cents needed) const;

  private:
    /// Cents per hertz of the pipe's pitch, which is the same on every length: the last move each
    /// way.
    std::optional<double> sharpened_;
    std::optional<double> flattened_;
};

}  // namespace rankwright::organ
