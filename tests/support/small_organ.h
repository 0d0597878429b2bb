// An invented organ of one stop, for what a run does through it.
#pragma once

#include "organ/instrument.h"

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

}  // namespace rankwright::testing
