// A display of the test's own: an X server that draws into memory.
#pragma once

#include "support/sound_server.h"

#include <string>

namespace rankwright::testing {

class Display {
  public:
    /// Starts Xvfb on a free number and points DISPLAY at it.
    Display(int width, int height);
    bool running() const { return !name_.empty(); }
    const std::string& name() const { return name_; }  ///< ":7"

  private:
    Process server_;
    std::string name_;
};

/// What a shell command writes to stdout, without the last newline.
std::string output_of(const std::string& command);

}  // namespace rankwright::testing
