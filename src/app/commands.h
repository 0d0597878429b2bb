// Each command of the program registers itself, its options and what it does.
#pragma once

#include "core/result.h"
#include "organ/instrument.h"

#include <optional>
#include <string>

#include <CLI/CLI.hpp>

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

// Each adds one subcommand; `code` is set when that command has run.
void add_listen_command(CLI::App& app, ExitCode& code);
void add_beats_command(CLI::App& app, ExitCode& code);
void add_targets_command(CLI::App& app, ExitCode& code);
void add_check_command(CLI::App& app, ExitCode& code);
void add_inputs_command(CLI::App& app, ExitCode& code);
void add_chamber_command(CLI::App& app, ExitCode& code);
void add_new_command(CLI::App& app, ExitCode& code);

}  // namespace rankwright::app
