// What `rankwright beats` is asked, read from its arguments.
#pragma once

#include "core/result.h"
#include "core/units.h"
#include "organ/reference.h"
#include "tuning/drawing.h"

#include <optional>
#include <string>

namespace rankwright::app {

struct KnownReference {
    Hertz pitch;
    Hertz sd;  ///< standard uncertainty
};

/// A number says how well it is known by its digits: "262.3" lies anywhere from 262.25 to 262.35,
/// which is a standard uncertainty of the last digit's worth over √12 (JCGM 100:2008, 4.3.7), and
/// at least listening::kDoubtOfNumber. Fails for what is no pitch between 10 Hz and 20 kHz.
Result<KnownReference> known_by_number(const std::string& hertz);

/// "M:N", both whole numbers from 1 to 64.
Result<organ::Meeting> parse_interval(const std::string& interval);

/// What `drawing` says in JSON; empty where nothing can be known.
std::optional<std::string> word_of(tuning::Drawing drawing);

}  // namespace rankwright::app
