// Instrument files: TOML in, an instrument or everything that is wrong with it out. The keys are
// explained in instruments/README.md.
#pragma once

#include "core/result.h"
#include "organ/instrument.h"

#include <filesystem>
#include <string_view>
#include <vector>

namespace rankwright::storage {

/// An instrument, or all mistakes of its file in the order of its lines, each with line and column
/// in `where`. A file that can't be read at all gives one Error of kind not_found.
using LoadedInstrument = tl::expected<organ::Instrument, std::vector<Error>>;

LoadedInstrument load_instrument(const std::filesystem::path& path);
/// The same from text; `name` stands for the file in messages.
LoadedInstrument read_instrument(std::string_view toml, std::string_view name);

/// The mistakes of a file; empty when it is sound.
std::vector<Error> check_instrument_file(const std::filesystem::path& path);

/// "file.toml:12:7: message", as compilers write places; the message alone when there is no place.
std::string to_line(const Error& error);

}  // namespace rankwright::storage
