// Invented organs of one stop, for what a run does through it, and of two.
#pragma once

#include "organ/instrument.h"

#include <utility>

namespace rankwright::testing {

inline organ::Instrument small_organ() {
    organ::Instrument instrument;
    instrument.name = "a test organ";
    instrument.a = Hertz{440.0};
    instrument.at = Celsius{20.0};
    organ::Division great;
    great.id = "great";
    great.name = "Great";
    great.chest = organ::ChestArrangement::sides_tall_out;
    organ::Stop principal;
    principal.id = "principal-8";
    principal.name = "Principal 8′";
    principal.makes = {{1, {}}};
    great.stops = {principal};
    instrument.divisions = {great};
    return instrument;
}

/// One division with an 8′, of what kind is asked for, and an open 4′.
inline organ::Instrument two_stop_organ(int keys, int lowest_midi = 48,
                                        organ::PipeKind principal = organ::PipeKind::open) {
    organ::Instrument instrument;
    instrument.name = "a test organ";
    organ::Division great;
    great.id = "great";
    great.name = "Great";
    great.keys = keys;
    great.lowest_midi = lowest_midi;
    for (const auto& [id, feet] : {std::pair{"principal", "8'"}, std::pair{"octave", "4'"}}) {
        organ::Stop stop;
        stop.id = stop.name = id;
        stop.footage = *organ::parse_footage(feet);
        stop.last_key = great.keys;
        stop.makes = {organ::MakeRange{}};
        if (stop.id == "principal") stop.makes[0].make.kind = principal;
        great.stops.push_back(stop);
    }
    instrument.divisions.push_back(great);
    return instrument;
}

}  // namespace rankwright::testing
