// What the technician asks for, by keyboard, presenter remote or mouse.
#pragma once

#include "core/pipe_id.h"
#include "core/units.h"

#include <optional>
#include <variant>

namespace rankwright::visit {

struct GoNext {};  ///< on to the next pipe, kept or not
struct GoBack {};  ///< back to the pipe before
struct GoToKey {
    int key = 1;
};
/// Simulated chamber only: the hand moves the tuning device; positive = up (or out).
struct MoveDevice {
    Millimetres by;
};
struct SetTemperature {
    Celsius to;
    std::optional<double> humidity{};  ///< relative, 0 to 1; empty leaves it as it was
};
/// A of today as typed; the measured one is taken again when `to` is 0.
struct SetPitch {
    Hertz to;
};
/// Take the pitch now sounding as that of the day (the reference pipe stands right).
struct TakePitchOfDay {};
/// Take another stop in hand; what was found at the others is kept.
struct TakeStop {
    StopId stop;
};
/// By beats: hear the pipe without its reference, or with it again.
struct HearAlone {};
struct Quit {};

using Command = std::variant<GoNext, GoBack, GoToKey, MoveDevice, SetTemperature, SetPitch,
                             TakePitchOfDay, TakeStop, HearAlone, Quit>;

}  // namespace rankwright::visit
