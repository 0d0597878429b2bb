// Notices that the helper has gone on to another key of the stop, expected or not.
#pragma once

#include "core/units.h"

#include <optional>

namespace rankwright::visit {

/// Belongs to the listening thread.
class KeyFollower {
  public:
    /// The tone that sounds now (listening::Hearing::tone) is the wanted pipe's own, however far it
    /// is moved.
    void own(int tone);
    /// Another pipe is wanted: what still sounds is no answer to that.
    void turned();
    /// Another key of the stop sounds (empty: none does) as tone `tone` at a time of the stream,
    /// which never runs backwards. Returns the key once it has sounded for `patience`.
    std::optional<int> hear(Seconds at, int tone, std::optional<int> key, Seconds patience);

  private:
    struct Heard {
        int key;
        Seconds since;
    };
    std::optional<Heard> heard_;
    int latest_ = 0;       ///< tone
    int known_until_ = 0;  ///< tones up to this one are no other key
};

}  // namespace rankwright::visit
