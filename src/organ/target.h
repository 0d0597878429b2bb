// The pitch that each pipe should have today.
#pragma once

#include "organ/instrument.h"

#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace rankwright::organ {

/// A thermometer held at pipe level in one division.
struct PlaceTemperature {
    std::string division;  ///< id
    Celsius reading;
};

/// What is known of today. Without `pitch` the organ's own A is carried to `temperature`.
struct Day {
    std::optional<Hertz> pitch;              ///< A as measured (or typed) today
    std::optional<Celsius> temperature;      ///< at the pipes of the reference
    std::vector<PlaceTemperature> places{};  ///< where a division has a thermometer of its own
    /// Relative, 0 to 1, beside that thermometer. Without it the air is taken as dry as at home.
    std::optional<double> humidity{};
};

/// The temperature of a division: its own thermometer, or that of the reference.
std::optional<Celsius> temperature_of(const Day& day, std::string_view division);

/// How much flue pipes will rise from air at `here` today to the organ's own: by temperature alone,
/// or, where today's humidity is known, by that as well.
Cents rise_to_home(const Instrument& instrument, const Day& day, Celsius here);

/// The A that flue pipes stand at on that day.
Hertz pitch_of(const Instrument& instrument, const Day& day);

/// The target of one pipe: the temperament at the key's place, the stop's exact footage, today's A.
/// Reeds too are tuned to the flues of the day.
Hertz target(const Instrument& instrument, const Pipe& pipe, const Day& day);

/// A target beside the nearest note of equal temperament at the same A.
Cents cents_from_equal(const Instrument& instrument, const Pipe& pipe, const Day& day);

/// An offset from the plain target that lets a pipe agree later, and why.
struct Compensation {
    Cents offset;  ///< add to the target; left out, the pipe will read as far off the other way
    std::string words;  ///< "Swell stands at 21.0 °C, the reference at 18.0 °C: …"
};

/// For a pipe whose division isn't as warm as the reference, or a reed on another day than the
/// organ's own: the offset at which it will agree with the reference's flues when both have come to
/// `instrument.at`. Empty when a temperature is missing or the offset is under 0.05 cent.
std::optional<Compensation> compensation(const Instrument& instrument, const Pipe& pipe,
                                         const Day& day);

}  // namespace rankwright::organ
