// Pipes and keys as they are named on the command line.
#pragma once

#include "core/result.h"
#include "organ/instrument.h"

#include <string>
#include <vector>

namespace rankwright::app {

/// A key of a stop by its number, or by its name in the trade ("tenor C"). Fails with what there
/// is.
Result<int> find_key(const organ::StopRef& stop, const std::string& text);

/// The pipes that "division/stop/row/key" (the lasting name), "Stop/KEY" or "Division/Stop/KEY"
/// mean: of a mixture's key all rows. Fails with the nearest known name and how names are written.
Result<std::vector<organ::Pipe>> find_pipes(const organ::Instrument& instrument,
                                            const std::string& text);

}  // namespace rankwright::app
