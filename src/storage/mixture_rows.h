// Feet and the rows of mixtures as instrument files write them.
#pragma once

#include "organ/footage.h"
#include "storage/table_reader.h"

#include <vector>

namespace rankwright::storage {

inline constexpr const char* kFeetExpected = "feet as in 8, \"2 2/3\" or \"1 3/5\"";

/// The feet that a value means; empty when it means none.
std::optional<organ::Footage> footage_of(const toml::node& node);

/// The "rows" of one break: "15.19.22" by intervals, "2, 1 1/3, 1" by feet, or a list of feet.
/// Notes as mistakes what isn't a row and rows that don't go up; empty then.
std::vector<organ::Footage> read_rows(TableReader& range);

}  // namespace rankwright::storage
