// Wall-clock times in words.
#pragma once

#include "visit/book_entry.h"

#include <optional>
#include <string>
#include <string_view>

namespace rankwright::visit {

/// The computer's clock now. [any]
WallTime wall_now();

/// "2026-11-26T08:15:30.250Z": UTC (RFC 3339), years 0 to 9999.
std::string to_text(WallTime at);
/// The inverse: UTC, with or without milliseconds; empty when it isn't written so.
std::optional<WallTime> parse_wall_time(std::string_view text);

}  // namespace rankwright::visit
