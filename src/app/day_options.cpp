#include "app/day_options.h"

#include "app/commands.h"
#include "app/number_checks.h"
#include "core/nearest_word.h"
#include "organ/air.h"

namespace rankwright::app {

namespace {

Result<organ::PlaceTemperature> place_of(const organ::Instrument& instrument,
                                         const std::string& text) {
    const std::size_t equals = text.find('=');
    const std::string name = text.substr(0, equals);
    if (equals == std::string::npos)
        return fail(ErrorKind::bad_input,
                    "\"" + text + "\" is no place: write DIVISION=TEMPERATURE, as Swell=21.3C");
    const auto reading = organ::parse_temperature(text.substr(equals + 1));
    if (!reading) return tl::unexpected(bad_temperature(text.substr(equals + 1)));
    std::vector<std::string> known;
    for (const organ::Division& division : instrument.divisions) {
        if (name == division.id || name == division.name)
            return organ::PlaceTemperature{division.id, *reading};
        known.push_back(division.name);
    }
    std::string message = "there is no division \"" + name + "\" in " + instrument.name;
    if (const auto nearest = nearest_word(name, known))
        message += "; did you mean \"" + *nearest + "\"?";
    return fail(ErrorKind::not_found, std::move(message));
}

}  // namespace

void DayOptions::add_to(CLI::App& command) {
    command.add_option("--temperature", temperature,
                       "at the pipes of the reference: 21.3C or 70.4F");
    command.add_option("--humidity", humidity, "relative humidity there, in per cent")
        ->check(within(0.0, 100.0));
    command.add_option("--place", places,
                       "a division with a thermometer of its own, as Swell=21.3C; may be repeated");
    command.add_option("--pitch", pitch, "the A that the organ stands at today, in Hz")
        ->check(within(300.0, 600.0));
}

Result<organ::Day> DayOptions::day_at(const organ::Instrument& instrument) const {
    organ::Day day;
    if (!temperature.empty()) {
        day.temperature = organ::parse_temperature(temperature);
        if (!day.temperature) return tl::unexpected(bad_temperature(temperature));
    } else if (humidity || !places.empty()) {
        return fail(ErrorKind::bad_input,
                    "say the temperature at the pipes of the reference as well: --temperature 18C");
    }
    if (humidity) day.humidity = *humidity / 100.0;
    for (const std::string& text : places) {
        const auto place = place_of(instrument, text);
        if (!place) return tl::unexpected(place.error());
        day.places.push_back(*place);
    }
    if (pitch) day.pitch = Hertz{*pitch};
    return day;
}

}  // namespace rankwright::app
