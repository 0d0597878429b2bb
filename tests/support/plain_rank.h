// A rank of open pipes for tests of order, without anything that a target needs but its footage.
#pragma once

#include "organ/instrument.h"

#include <string>

namespace rankwright::testing {

/// Tuned from the stop `from` of the division "great", key from key; from nothing where empty.
/// `feet` as a file states it.
inline organ::Stop plain_rank(const char* id, const char* name, const char* feet,
                              const char* from = "") {
    organ::Stop stop;
    stop.id = id;
    stop.name = name;
    stop.footage = *organ::parse_footage(feet);
    stop.makes = {{1, {}}};
    if (*from != '\0') stop.tuned_from = {{1, "great", from, 0}};
    return stop;
}

/// A tone (listening::Hearing::tone) that is this pipe's alone; below 0, so that any other comes
/// later.
inline int tone_of(const organ::Pipe& pipe) {
    return -1000 * static_cast<int>(pipe.stop.size()) - pipe.key;
}

}  // namespace rankwright::testing
