// Files that are whole or not there at all.
#pragma once

#include "core/result.h"

#include <filesystem>
#include <string_view>

namespace rankwright::storage {

/// Writes a file that is on disk when this returns; what was there before stays until the new one
/// is complete.
Result<void> write_durably(const std::filesystem::path& file, std::string_view text);

/// Puts a finished file, which is on the same disk, into the place of `file`, for good.
Result<void> move_into_place(const std::filesystem::path& finished,
                             const std::filesystem::path& file);

}  // namespace rankwright::storage
