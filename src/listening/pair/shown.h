// Which readings of a followed pair are shown, and with what uncertainty.
#pragma once

#include "core/units.h"
#include "listening/pair/pair.h"

#include <optional>

namespace rankwright::listening {

class PairShown {
  public:
    /// The next value owes nothing to those before.
    void forget() { sd_.reset(); }
    /// The reading as it is to be shown, or empty when it hardly says anything. `span`: how much
    /// sound it rests on; `meets`: where the two meet first; `moving`: the pipe is being moved. At
    /// rest the uncertainty doesn't grow again while the value stays what it was.
    std::optional<BeatReading> take(BeatReading reading, Seconds span, Hertz meets, bool moving);

  private:
    std::optional<Hertz> sd_;  // as shown last, at rest
    Hertz beat_;
};

}  // namespace rankwright::listening
