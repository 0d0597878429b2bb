// Bare `rankwright`: asks in the window which instrument and input, or goes on with the last visit.
#pragma once

#include "app/report.h"

namespace rankwright::app {

ExitCode choose_and_work();

}  // namespace rankwright::app
