// Each command of the program registers itself, its options and what it does.
#pragma once

#include "app/report.h"

#include <CLI/CLI.hpp>

namespace rankwright::app {

// Each adds one subcommand; `code` is set when that command has run.
void add_listen_command(CLI::App& app, ExitCode& code);
void add_beats_command(CLI::App& app, ExitCode& code);
void add_mixture_command(CLI::App& app, ExitCode& code);
void add_targets_command(CLI::App& app, ExitCode& code);
void add_check_command(CLI::App& app, ExitCode& code);
void add_survey_command(CLI::App& app, ExitCode& code);
void add_inputs_command(CLI::App& app, ExitCode& code);
void add_chamber_command(CLI::App& app, ExitCode& code);
void add_new_command(CLI::App& app, ExitCode& code);
void add_list_command(CLI::App& app, ExitCode& code);
void add_calls_command(CLI::App& app, ExitCode& code);
void add_report_command(CLI::App& app, ExitCode& code);
void add_book_command(CLI::App& app, ExitCode& code);

}  // namespace rankwright::app
