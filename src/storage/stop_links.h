// Joins the stops of an instrument file that name each other.
#pragma once

#include "storage/division_reader.h"

namespace rankwright::storage {

/// Fills in the ids that `links` stand for. Notes as mistakes: unknown or doubtful names,
/// borrowings that lead to no pipes, celestes without a mate below them, references in a circle.
void join_stops(organ::Instrument& instrument, const std::vector<Link>& links,
                const StopPlaces& places, Mistakes& mistakes);

/// The stop that `name` means to someone standing at `division` (whose own stops come first):
/// indices of division and stop. Notes a mistake at `place` when there is none or several.
std::optional<std::pair<std::size_t, std::size_t>> look_up(const organ::Instrument& instrument,
                                                           std::optional<std::size_t> division,
                                                           const std::string& name,
                                                           const toml::source_region& place,
                                                           Mistakes& mistakes);

}  // namespace rankwright::storage
