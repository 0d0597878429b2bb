// The program's commands, as documented in README.md.
#pragma once

namespace rankwright::app {

/// Runs the command that the arguments name. Results on stdout, messages on stderr.
/// Returns 0: done; 1: understood, but nothing could be measured or found; 2: bad arguments or
/// input.
int run(int argc, const char* const* argv);

}  // namespace rankwright::app
