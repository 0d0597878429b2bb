// Each command of the program registers itself, its options and what it does.
#pragma once

#include "core/result.h"

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

// Each adds one subcommand; `code` is set when that command has run.
void add_listen_command(CLI::App& app, ExitCode& code);
void add_targets_command(CLI::App& app, ExitCode& code);
void add_check_command(CLI::App& app, ExitCode& code);
void add_inputs_command(CLI::App& app, ExitCode& code);
void add_chamber_command(CLI::App& app, ExitCode& code);

}  // namespace rankwright::app
