// What the commands that hear pipes are told of the sound.
#pragma once

#include "app/live_input.h"
#include "capture/recording_source.h"
#include "core/result.h"

#include <optional>
#include <string>

#include <CLI/CLI.hpp>

namespace rankwright::app {

struct HeardOptions {
    std::string file;  ///< a recording; empty: the live input
    std::optional<double> from, to;
    std::optional<int> channel;
    std::string device;
    std::optional<double> lasting;
    bool json = false;

    /// FILE, which `file_help` explains, --from, --to, --channel, --device, --for and --json. The
    /// object must outlive the parsing.
    void add_to(CLI::App& command, const std::string& file_help);
    /// What was asked of a recording; fails like read_asked.
    Result<capture::Recording> recording() const;
    /// The live input as it was asked for; without what takes its sound.
    LiveInput live() const;
};

}  // namespace rankwright::app
