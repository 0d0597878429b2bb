// How long a pipe's speech and the room's build-up still move its pitch.
#pragma once

#include "core/units.h"
#include "listening/partial_bank.h"

#include <cstddef>

namespace rankwright::listening {

struct Settling {
    Seconds after{0.0};  ///< the tone stands from then on
    Hertz moves{0.0};    ///< by so much the mean pitch of what is left is still moved, either way
};

/// When a tone stands that is held in the blocks `first` to `last` of `bank`, counted from `first`:
/// what comes before would move the mean pitch by more than the time left to it makes that
/// uncertain. Of a pitch that settles as an exponential; nought where none is heard. `begins`: the
/// tone is heard to begin there, so that little of a movement tells its speech; otherwise only one
/// that no pipe makes that has long stood. At least `shortest` is left.
Settling settling(const PartialBank& bank, std::size_t first, std::size_t last, bool begins,
                  Seconds shortest);

}  // namespace rankwright::listening
