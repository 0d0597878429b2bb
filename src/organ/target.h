// The pitch that each pipe should have today.
#pragma once

#include "organ/instrument.h"

#include <optional>

namespace rankwright::organ {

/// What is known of today. Without `pitch` the organ's own A is carried to `temperature`.
struct Day {
    std::optional<Hertz> pitch;          ///< A as measured (or typed) today
    std::optional<Celsius> temperature;  ///< at the pipes
};

/// The A that flue pipes stand at on that day.
Hertz pitch_of(const Instrument& instrument, const Day& day);

/// The target of one pipe: the temperament at the key's place, the stop's exact footage, today's A.
Hertz target(const Instrument& instrument, const Pipe& pipe, const Day& day);

}  // namespace rankwright::organ
