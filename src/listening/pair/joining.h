// When another tone may have joined the one that is heard, and when to look for it.
#pragma once

#include "core/units.h"
#include "listening/pair/stream.h"

#include <cstddef>
#include <optional>
#include <span>

namespace rankwright::listening {

/// Joined tones are looked for in what has sounded since, four times as the span grows.
class PairJoining {
  public:
    explicit PairJoining(SampleRate rate) : rate_(rate) {}

    /// What sounds now is known.
    void restart(FrameIndex now) {
        odd_ = now;
        joined_.reset();
    }
    /// Nothing of this moment says anything.
    void hide(FrameIndex now) { odd_ = now; }
    /// `odd`: the partials have changed; `own`: some that only the pipe has stand out.
    void note(bool odd, bool own, FrameIndex now);
    /// Another may have joined.
    bool joined() const { return joined_.has_value(); }
    /// It was at that moment that another set in. Requires joined().
    void joined_at(FrameIndex onset) { joined_ = onset; }
    /// What was heard of the first alone, which began at `began`, clear of what was hidden, before
    /// another joined it, which has spoken by `spoken`. Empty where that is too little to tell.
    /// Requires joined().
    std::optional<HeardBefore> before(FrameIndex began, std::span<const HiddenSpan> hidden,
                                      FrameIndex spoken) const;
    /// Once joined: in the sound from here on it is to be looked for now; `spacing_hz` between the
    /// two's partials.
    std::optional<FrameIndex> due(double spacing_hz, FrameIndex now) const;
    /// How long the first had sounded when it joined, from `began`.
    Seconds joined_after(FrameIndex began) const { return duration(*joined_ - began, rate_); }
    /// It was looked for, and what sounds now is usual. `filling`: the room may still have done so,
    /// and what changes after be the other one. False when it was the last time.
    bool looked(FrameIndex now, bool filling);

  private:
    void begin(FrameIndex at, bool own);

    SampleRate rate_;
    FrameIndex odd_;                    // something else than one tone may sound since
    std::optional<FrameIndex> joined_;  // since when a second may sound beside the first
    bool own_ = false;                  // the pipe's own partials stood out by then
    std::size_t looks_ = 0;
    bool open_ = false;  // another change may be the one
    int again_ = 0;      // how often there was one
};

}  // namespace rankwright::listening
