#include "organ/target.h"

#include "core/text.h"
#include "organ/air.h"
#include "organ/note.h"

#include <cmath>

namespace rankwright::organ {

namespace {

constexpr int kMidiA = 69;

// The note `midi` of an 8′ rank.
Hertz unison(const Temperament& temperament, int midi, Hertz a) {
    return transpose(a, Cents{100.0 * (midi - kMidiA)} +
                            temperament.from_equal[static_cast<std::size_t>(pitch_class(midi))]);
}

// The MIDI number of the note a pipe nominally sounds.
int sounding_midi(const Pipe& pipe) {
    return pipe.midi + static_cast<int>(std::lround(12.0 * std::log2(pipe.ratio)));
}

}  // namespace

std::optional<Celsius> temperature_of(const Day& day, std::string_view division) {
    for (const PlaceTemperature& place : day.places)
        if (place.division == division) return place.reading;
    return day.temperature;
}

Cents rise_to_home(const Instrument& instrument, const Day& day, Celsius here) {
    if (!day.humidity || !day.temperature) return flue_shift(here, instrument.at);
    // The water in the air is the same all over the building.
    const double humidity = humidity_at(*day.humidity, *day.temperature, here);
    return flue_shift(Air{here, humidity}, Air{instrument.at, instrument.humidity});
}

Hertz pitch_of(const Instrument& instrument, const Day& day) {
    if (day.pitch) return *day.pitch;
    if (!day.temperature) return instrument.a;
    return transpose(instrument.a, -rise_to_home(instrument, day, *day.temperature));
}

Hertz target(const Instrument& instrument, const Pipe& pipe, const Day& day) {
    const Hertz a = pitch_of(instrument, day);
    if (pipe.tempered)
        return unison(instrument.temperament, sounding_midi(pipe), a) + pipe.celeste_beat;
    return unison(instrument.temperament, pipe.midi, a) * pipe.ratio + pipe.celeste_beat;
}

Cents cents_from_equal(const Instrument& instrument, const Pipe& pipe, const Day& day) {
    const Hertz equal =
        transpose(pitch_of(instrument, day), Cents{100.0 * (sounding_midi(pipe) - kMidiA)});
    return interval(equal, target(instrument, pipe, day));
}

std::optional<Compensation> compensation(const Instrument& instrument, const Pipe& pipe,
                                         const Day& day) {
    const auto here = temperature_of(day, pipe.id.division);
    if (!here || !day.temperature) return std::nullopt;
    // On the way home the reference's flues rise by one amount and this pipe by another.
    const Cents offset = rise_to_home(instrument, day, *day.temperature) -
                         rise_to_home(instrument, day, *here) * pipe.make.temperature_share;
    constexpr double kInaudible = 0.05;
    if (std::abs(offset.value()) < kInaudible) return std::nullopt;
    const std::string side = offset > Cents{0.0} ? " cents sharp" : " cents flat";
    const std::string off = decimal(std::abs(offset.value()), 1);
    std::string words = text_of({pipe.division, " stands at ", celsius_text(*here),
                                 ", the reference at ", celsius_text(*day.temperature)});
    if (pipe.make.reed())
        words += text_of({", and this reed follows the flues by ",
                          decimal(100.0 * pipe.make.temperature_share, 0), " %"});
    words += text_of({": tuned ", off, side, " now, it will agree when both are at ",
                      celsius_text(instrument.at), "; in tune now, it will read ", off,
                      offset > Cents{0.0} ? " cents flat" : " cents sharp", " then"});
    return Compensation{offset, std::move(words)};
}

}  // namespace rankwright::organ
