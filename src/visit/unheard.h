// Whether a pipe of which nothing is heard may be called dead.
#pragma once

#include "core/units.h"

#include <optional>

namespace rankwright::visit {

/// A treble that stands in a node of the room is as silent as a dead one. From 1 kHz up a hand's
/// breadth leads out of a node (half a wave is 17 cm there), so there the microphone is moved and
/// the pipe heard a second time first.
class Unheard {
  public:
    enum class Heard { nothing, something, the_pipe };

    /// Another pipe is in hand, or this one is to be heard anew.
    void begin() { *this = {}; }
    /// At `now`, which never runs backwards, this is heard of the pipe of `pitch`.
    void follow(Heard heard, Hertz pitch, Seconds now);

    /// Nothing was heard of a treble for so long that its key was surely held.
    bool asks_to_move() const { return asks_; }
    /// It may be in a node for all that is known: too early to call it dead.
    bool may_be_in_node() const { return may_be_; }

  private:
    std::optional<Seconds> since_;
    bool asks_ = false, may_be_ = false;
    bool heard_ = false;
};

}  // namespace rankwright::visit
