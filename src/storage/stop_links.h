// Joins the stops of an instrument file that name each other.
#pragma once

#include "storage/division_reader.h"

namespace rankwright::storage {

/// Fills in the ids that `links` stand for. Notes as mistakes: unknown or doubtful names,
/// borrowings of pipes that aren't there and extra pipes that nothing plays, celestes that their
/// mate doesn't reach, references that aren't there or go round in a circle.
void join_stops(organ::Instrument& instrument, const std::vector<Link>& links,
                const StopPlaces& places, Mistakes& mistakes);

/// The stop that `name` means to someone standing at `division` (whose own stops come first). Notes
/// a mistake at `place`, and is empty, when there is none or several.
std::optional<organ::StopRef> look_up(const organ::Instrument& instrument,
                                      const organ::Division* division, const std::string& name,
                                      const toml::source_region& place, Mistakes& mistakes);

}  // namespace rankwright::storage
