// Ctrl-C and the like, for commands that run until told to stop.
#pragma once

namespace rankwright::app {

/// From now on SIGINT, SIGTERM and SIGHUP only set a mark, so that work is ended in order.
void catch_interrupts();
bool interrupted();

}  // namespace rankwright::app
