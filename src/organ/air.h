// Temperature as people read it, the speed of sound, and what both do to pitch.
#pragma once

#include "core/units.h"

#include <optional>
#include <string>
#include <string_view>

namespace rankwright::organ {

/// "21.3C", "21.3 °C", "70.4F", "70.4 °F"; the letter is needed. Empty for anything else and for
/// what no chamber reaches (below −40 °C, above 60 °C).
std::optional<Celsius> parse_temperature(std::string_view text);
/// "21.3 °C".
std::string celsius_text(Celsius temperature);
/// "70.3 °F".
std::string fahrenheit_text(Celsius temperature);

/// Moist air. Standard carbon dioxide and pressure unless said otherwise.
struct Air {
    Celsius temperature{20.0};
    double humidity = 0.5;  ///< relative, 0 to 1
    double pressure_pa = 101325.0;
    double carbon_dioxide = 0.0004;  ///< mole fraction
};

/// Metres a second in dry air: 343.2 √(T / 293.15 K), −20 to 50 °C (ISO 9613-1:1993).
double speed_of_sound(Celsius temperature);
/// Metres a second in moist air, 0 to 30 °C, 75 to 102 kPa (O. Cramer, JASA 93(5), 1993, p. 2514,
/// with the vapour pressure of R. S. Davis, Metrologia 29, 1992).
double speed_of_sound(const Air& air);

/// How much flue pipes rise from one temperature to another: with the speed of sound in dry air,
/// 600 log2(T_to / T_from); 2.95 cents a kelvin at 20 °C.
Cents flue_shift(Celsius from, Celsius to);
/// The same in moist air.
Cents flue_shift(const Air& from, const Air& to);
/// The relative humidity that air of `humidity` has at another temperature, when no water was
/// added or taken; not above 1.
double humidity_at(double humidity, Celsius from, Celsius to);

}  // namespace rankwright::organ
