// The recording, channel and span that a command was asked to hear.
#pragma once

#include "capture/recording_source.h"
#include "core/result.h"

#include <optional>
#include <string>

namespace rankwright::app {

/// Reads FILE with --channel (from 1), --from and --to (seconds), each where given; what the user
/// should know although it could be read goes to stderr. Fails like capture::read_recording.
Result<capture::Recording> read_asked(const std::string& file, std::optional<int> channel,
                                      std::optional<double> from, std::optional<double> to);

}  // namespace rankwright::app
