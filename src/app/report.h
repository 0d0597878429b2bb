// What the program says when something is wrong, and what it ends with.
#pragma once

#include "core/result.h"
#include "organ/instrument.h"

#include <optional>
#include <string>

namespace rankwright::app {

/// What the program ends with.
enum ExitCode : int {
    kDone = 0,
    kNothingFound = 1,  ///< understood, but nothing could be measured or found
    kBadInput = 2,      ///< bad arguments or bad input
};

/// Says an error on stderr ("rankwright: …", with file, line and column where known) and gives the
/// exit code that belongs to its kind.
ExitCode report(const Error& error);

/// The instrument of a file; empty after every mistake in it was said.
std::optional<organ::Instrument> load_instrument_or_report(const std::string& path);
/// What is wrong with a temperature that couldn't be read.
Error bad_temperature(const std::string& text);

}  // namespace rankwright::app
