// Prints readings on stdout as they come, for work without a screen.
#pragma once

#include "overlay/snapshot.h"

#include <string>

namespace rankwright::app {

class ReadingLog {
  public:
    enum class Form { words, json };
    explicit ReadingLog(Form form) : form_(form) {}
    /// Prints a line when the pipe or its stage changed, and twice a second while a figure stands.
    void add(const overlay::Snapshot& snapshot, Seconds now);

  private:
    Form form_;
    std::string last_;
    Seconds printed_{-1.0};
};

}  // namespace rankwright::app
