// Keeps the computer from sleeping and its screen from going dark during the work.
#pragma once

#include <array>

#include <sys/types.h>

namespace rankwright::app {

/// Asks the system (systemd-inhibit) and the desktop (gnome-session-inhibit) as long as it lives.
/// They end by themselves if this program dies.
class StayAwake {
  public:
    StayAwake();
    ~StayAwake();
    StayAwake(const StayAwake&) = delete;
    StayAwake& operator=(const StayAwake&) = delete;

    /// False once it is known that nobody grants it: say so on the screen.
    bool granted();

  private:
    std::array<pid_t, 2> inhibitors_{-1, -1};  ///< −1: not running
    int lifeline_ = -1;  ///< the inhibitors' standard input; they end when it closes
};

}  // namespace rankwright::app
