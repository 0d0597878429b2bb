// How far pipes fall when the hand's warmth has left them, learned in this visit.
#pragma once

#include "core/pipe_id.h"
#include "core/units.h"

#include <optional>
#include <vector>

namespace rankwright::visit {

/// The hand warms a small pipe more than a big one, and one rank otherwise than another: what one
/// pipe fell by tells of those of like size. Belongs to the listening thread.
class Cooling {
  public:
    /// What falls by more than that did not only cool.
    static constexpr Cents kMost{8.0};

    /// A pipe of `pitch` that was worked at for `hand` (> 0) was found `by` lower when it had
    /// cooled; what isn't lower fell by nought.
    void fell(const PipeId& pipe, Hertz pitch, Seconds hand, Cents by);

    struct Warmth {
        Cents by{0.0};
        Cents doubt{0.0};  ///< standard
    };
    /// By how much a pipe that was worked at for so long will fall: as it did itself, or else as
    /// pipes of its size did, those of its rank first. Nought where nothing is known.
    Warmth after(const PipeId& pipe, Hertz pitch, Seconds hand) const;

  private:
    struct Fall {
        PipeId pipe;
        Hertz pitch;
        double hand_s;
        double cents;
    };
    std::vector<Fall> falls_;
};

}  // namespace rankwright::visit
