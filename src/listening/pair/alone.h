// The reference's own pitch, as read while it stood alone on this key.
#pragma once

#include "core/units.h"
#include "listening/pair/pair.h"
#include "listening/reading.h"

#include <optional>

namespace rankwright::listening {

class PairAlone {
  public:
    /// Whether a tone that has stood alone for so long may be the reference, which is `expected` to
    /// within the standard uncertainty `doubt`: the pipe's key may go down before the reference's.
    static bool may_be_reference(Hertz heard, Hertz expected, Hertz doubt, Seconds stood);

    void forget() {
        heard_.reset();
        latest_.reset();
    }
    /// Nothing of it was read from `from` on.
    void forget_since(FrameIndex from);
    /// What was read last may have been both.
    void forget_latest() { latest_.reset(); }
    /// The newest may hold the speech of another tone that isn't noticed yet: the one before it
    /// counts.
    void learn(const PitchReading& newest) {
        heard_ = latest_ ? latest_ : newest;
        latest_ = newest;
    }
    const std::optional<PitchReading>& heard() const { return heard_; }
    /// How well that tells the reference's mean pitch over another span: with how far it strays.
    /// Requires heard().
    Hertz doubt() const;
    /// What a pipe at `pipe` beats with the reference, by where that was, not by what the two sound
    /// like together; its partial `m` meets the pipe's `n`. Requires heard().
    BeatReading beat_with(Hertz pipe, int m, int n) const;

  private:
    std::optional<PitchReading> heard_, latest_;
};

}  // namespace rankwright::listening
