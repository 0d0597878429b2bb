// What may be wrong with the pipe in hand: one digit notes it.
#pragma once

#include "overlay/canvas.h"
#include "overlay/key.h"
#include "overlay/snapshot.h"
#include "visit/command.h"

#include <cstddef>
#include <optional>

namespace rankwright::overlay {

class FaultList {
  public:
    /// What the press did. `done` with a command: carry it out and close; without one: closed.
    struct Outcome {
        bool done = false;
        std::optional<visit::Command> command;
    };
    Outcome press(const KeyPress& key, const Snapshot& snapshot);
    void draw(Canvas& canvas, const Rect& place, const Snapshot& snapshot) const;

  private:
    std::size_t lit_ = 0;  ///< of visit::kFaults
};

}  // namespace rankwright::overlay
