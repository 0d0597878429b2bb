// Reads one stop of an instrument file.
#pragma once

#include "storage/division_reader.h"

namespace rankwright::storage {

/// Reads a `[[division.stop]]`. What it names of other stops goes to `links`, with `at` filled in
/// for the rest of each Link. `division` must have its keyboard already.
organ::Stop read_stop(const toml::table& table, const organ::Division& division, const Link& at,
                      std::vector<Link>& links, Mistakes& mistakes);

}  // namespace rankwright::storage
