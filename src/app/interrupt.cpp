#include "app/interrupt.h"

#include <array>
#include <csignal>

namespace rankwright::app {

namespace {
volatile std::sig_atomic_t caught = 0;
}

void catch_interrupts() {
    struct sigaction action {};
    action.sa_handler = [](int) { caught = 1; };
    action.sa_flags = SA_RESETHAND;  // a second Ctrl-C ends at once
    for (const int number : std::array{SIGINT, SIGTERM, SIGHUP})
        sigaction(number, &action, nullptr);
}

bool interrupted() { return caught != 0; }

}  // namespace rankwright::app
