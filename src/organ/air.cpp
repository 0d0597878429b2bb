#include "organ/air.h"

#include "core/text.h"

#include <algorithm>
#include <cctype>
#include <charconv>
#include <cmath>

namespace rankwright::organ {

namespace {

constexpr double kZeroCelsius = 273.15;

// Mole fraction of water vapour: enhancement factor and saturation pressure of Davis (1992).
double vapour_fraction(const Air& air) {
    const double t = air.temperature.value();
    const double kelvin = t + kZeroCelsius;
    const double enhancement = 1.00062 + 3.14e-8 * air.pressure_pa + 5.6e-7 * t * t;
    const double saturation = std::exp(1.2378847e-5 * kelvin * kelvin - 1.9121316e-2 * kelvin +
                                       33.93711047 - 6343.1645 / kelvin);
    return air.humidity * enhancement * saturation / air.pressure_pa;
}

}  // namespace

std::optional<Celsius> parse_temperature(std::string_view text) {
    double value = 0.0;
    const auto [rest, code] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (code != std::errc{}) return std::nullopt;
    text.remove_prefix(static_cast<std::size_t>(rest - text.data()));
    while (text.starts_with(' '))
        text.remove_prefix(1);
    if (text.starts_with("°")) text.remove_prefix(std::string_view("°").size());
    if (text.size() != 1) return std::nullopt;
    const char unit = static_cast<char>(std::toupper(static_cast<unsigned char>(text[0])));
    if (unit != 'C' && unit != 'F') return std::nullopt;
    if (unit == 'F') value = (value - 32.0) / 1.8;
    if (!(value >= -40.0 && value <= 60.0)) return std::nullopt;
    return Celsius{value};
}

std::string celsius_text(Celsius temperature) {
    return text_of({decimal(temperature.value(), 1), " °C"});
}

std::string fahrenheit_text(Celsius temperature) {
    return text_of({decimal(temperature.value() * 1.8 + 32.0, 1), " °F"});
}

double speed_of_sound(Celsius temperature) {
    return 343.2 * std::sqrt((temperature.value() + kZeroCelsius) / 293.15);
}

double speed_of_sound(const Air& air) {
    const double t = air.temperature.value();
    const double p = air.pressure_pa;
    const double w = vapour_fraction(air);
    const double c = air.carbon_dioxide;
    return 331.5024 + 0.603055 * t - 0.000528 * t * t +
           (51.471935 + 0.1495874 * t - 0.000782 * t * t) * w +
           (-1.82e-7 + 3.73e-8 * t - 2.93e-10 * t * t) * p +
           (-85.20931 - 0.228525 * t + 5.91e-5 * t * t) * c - 2.835149 * w * w - 2.15e-13 * p * p +
           29.179762 * c * c + 0.000486 * w * p * c;
}

Cents flue_shift(Celsius from, Celsius to) {
    return Cents{1200.0 * std::log2(speed_of_sound(to) / speed_of_sound(from))};
}

double humidity_at(double humidity, Celsius from, Celsius to) {
    const double saturated = vapour_fraction({from, 1.0});
    return std::min(1.0, humidity * saturated / vapour_fraction({to, 1.0}));
}

Cents flue_shift(const Air& from, const Air& to) {
    return Cents{1200.0 * std::log2(speed_of_sound(to) / speed_of_sound(from))};
}

}  // namespace rankwright::organ
