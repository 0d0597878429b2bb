// The first question of a visit: which instrument, which input.
#pragma once

#include "overlay/book_page.h"
#include "overlay/canvas.h"
#include "overlay/key.h"
#include "overlay/layout.h"

#include <cstddef>
#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace rankwright::overlay {

/// What there is to choose from.
struct Choices {
    struct Entry {
        std::string name;    ///< large: the organ's or the input's name
        std::string detail;  ///< small: the file, or what speaks for or against it
    };
    std::vector<Entry> instruments;
    std::vector<Entry> inputs;
    std::optional<std::string> last_visit;  ///< "The Emberlow Organ, Great · Octave 4′"
    std::string trouble;                    ///< why a list is empty and what to do; may be empty
    BookView book;                          ///< the tuning book, to be looked after; may be none
};

/// What was chosen: indices into the lists.
struct Choice {
    bool go_on = false;  ///< with the last visit
    std::size_t instrument = 0;
    std::size_t input = 0;
};

/// Draws the choices; owns only what is lit. Belongs to the window thread.
class Chooser {
  public:
    enum class State { choosing, chosen, left };
    void press(const KeyPress& key, const Choices& choices);
    void draw(Canvas& canvas, const Rect& place, const Choices& choices) const;
    State state() const { return state_; }
    const Choice& choice() const { return choice_; }
    /// What was asked of the tuning book since the last call, in order.
    std::vector<visit::CareForBook> take_asked() { return std::exchange(asked_, {}); }

  private:
    enum class List { last_visit, instruments, inputs };
    void step(int by, const Choices& choices);
    void confirm(const Choices& choices);
    void begin(const Choices& choices);

    State state_ = State::choosing;
    bool begun_ = false;
    std::optional<BookPage> book_page_;
    std::vector<visit::CareForBook> asked_;
    List list_ = List::instruments;
    Choice choice_;
};

}  // namespace rankwright::overlay
