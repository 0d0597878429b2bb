// The work list in the window: choosing, dropping, wanting, complaints.
#pragma once

#include "overlay/canvas.h"
#include "overlay/key.h"
#include "overlay/snapshot.h"
#include "overlay/words_entry.h"
#include "visit/command.h"

#include <cstddef>
#include <optional>

namespace rankwright::overlay {

class WorkListPage {
  public:
    /// Begins at the pipe in hand, in the order in which it is worked at where the run goes over
    /// the list.
    explicit WorkListPage(const Snapshot& snapshot);

    /// What the press did. `done`: closed, after the command where there is one.
    struct Outcome {
        bool done = false;
        std::optional<visit::Command> command;
    };
    Outcome press(const KeyPress& key, const Snapshot& snapshot);
    void draw(Canvas& canvas, const Rect& place, const Snapshot& snapshot) const;

  private:
    std::vector<std::size_t> order(const ListPage& list) const;
    std::size_t lit_at(const ListPage& list) const;
    Outcome act(const KeyPress& key, const ListLine& line);
    Outcome complain(const KeyPress& key);

    bool walking_ = false;  ///< else the most audible first
    /// The pipe that is lit: it stays so while the list changes under it.
    std::optional<PipeId> lit_;
    std::size_t lit_line_ = 0;  ///< where it stood, in case it is gone
    std::optional<WordsEntry> complaint_;
};

}  // namespace rankwright::overlay
