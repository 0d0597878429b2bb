// The instrument's stops, to take another one in hand.
#pragma once

#include "overlay/canvas.h"
#include "overlay/key.h"
#include "overlay/snapshot.h"
#include "visit/command.h"

#include <cstddef>
#include <optional>

namespace rankwright::overlay {

class StopList {
  public:
    /// Begins at the stop in hand.
    explicit StopList(const Snapshot& snapshot);

    /// What the press did. `done` with a command: carry it out and close; without one: closed.
    struct Outcome {
        bool done = false;
        std::optional<visit::Command> command;
    };
    Outcome press(const KeyPress& key, const Snapshot& snapshot);
    void draw(Canvas& canvas, const Rect& place, const Snapshot& snapshot) const;

  private:
    std::size_t lit_ = 0;  ///< of Snapshot::stops
};

}  // namespace rankwright::overlay
