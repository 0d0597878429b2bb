// Whether what is heard answers to what the screen asks for.
#pragma once

#include "core/units.h"

#include <optional>

namespace rankwright::visit {

/// The screen asks for a pipe to be moved, and what is heard stays where it is: if the pipe was
/// moved, another sounds in its place.
class Unanswered {
  public:
    /// A move is asked for at `now`, which never runs backwards, while `pitch` stands, known to the
    /// standard uncertainty `doubt`.
    void asked(Hertz pitch, Cents doubt, Seconds now);
    void forget() { heard_.reset(); }
    /// For long enough that a hand at the pipe would have been heard.
    bool is_long(Seconds now) const;

  private:
    struct Heard {
        Hertz pitch;
        Seconds since;
    };
    std::optional<Heard> heard_;
};

}  // namespace rankwright::visit
