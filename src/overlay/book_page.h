// The tuning book in the window: copied, merged with another laptop's, imported, exported, checked.
#pragma once

#include "overlay/canvas.h"
#include "overlay/key.h"
#include "overlay/words_entry.h"
#include "visit/command.h"

#include <cstddef>
#include <optional>
#include <string>
#include <vector>

namespace rankwright::overlay {

/// The book as the page shows it.
struct BookView {
    std::string book;                  ///< its file; empty: nothing is kept here
    std::vector<std::string> folders;  ///< where copies and exports may go: sticks first
    std::vector<std::string> books;    ///< other books that were found
    std::vector<std::string> exports;  ///< exported files that were found
    std::string busy;                  ///< what is being done; empty: nothing
    std::string said;                  ///< what came of the last that was asked
    bool failed = false;               ///< `said` tells why nothing came of it
};

/// Asks what to do, then with which file or folder. Owns only view state.
class BookPage {
  public:
    /// What the press did. `done`: closed, after the command where there is one.
    struct Outcome {
        bool done = false;
        std::optional<visit::CareForBook> command;
    };
    Outcome press(const KeyPress& key, const BookView& view);
    void draw(Canvas& canvas, const Rect& place, const BookView& view) const;

  private:
    Outcome choose(const BookView& view);
    Outcome type(const KeyPress& key);
    Outcome act(std::string file);
    void draw_deeds(Canvas& canvas, const Rect& place) const;
    void draw_places(Canvas& canvas, const Rect& place, const BookView& view) const;

    std::size_t deed_ = 0;              ///< what to do
    std::optional<std::size_t> place_;  ///< with which file or folder, once that is asked
    std::optional<WordsEntry> typed_;
};

}  // namespace rankwright::overlay
