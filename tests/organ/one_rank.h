// A one-manual organ with single ranks, for tests.
#pragma once

#include "organ/instrument.h"

#include <utility>
#include <vector>

namespace rankwright::organ {

inline Stop rank_of(const char* name, Footage footage) {
    Stop stop;
    stop.id = slug(name);
    stop.name = name;
    stop.footage = footage;
    stop.makes = {{1, {}}};
    return stop;
}

inline Instrument organ_of(std::vector<Stop> stops, const char* temperament = "equal") {
    Instrument organ;
    organ.name = "the test organ";
    organ.temperament = built_in_temperament(temperament).value();
    Division great;
    great.id = "great";
    great.name = "Great";
    great.stops = std::move(stops);
    organ.divisions.push_back(std::move(great));
    return organ;
}

}  // namespace rankwright::organ
