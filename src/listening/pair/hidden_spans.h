// The spans of a stream that a knock or a voice hid.
#pragma once

#include "core/units.h"
#include "listening/pair/stream.h"

#include <cstddef>
#include <optional>
#include <span>
#include <vector>

namespace rankwright::listening {

/// Allocates at construction only: of too many spans the oldest is forgotten.
class HiddenSpans {
  public:
    HiddenSpans() { spans_.reserve(kMost); }
    void clear() {
        spans_.clear();
        from_.reset();
    }
    /// Something hides the sound, since `from` if it didn't before.
    void begin(FrameIndex from) {
        if (!from_) from_ = from;
    }
    /// It has passed.
    void end(FrameIndex to) {
        if (spans_.size() == kMost) spans_.erase(spans_.begin());
        spans_.push_back({*from_, to});
        from_.reset();
    }
    bool now() const { return from_.has_value(); }
    /// Those that ended before are of no more use.
    void forget_before(FrameIndex oldest) {
        while (!spans_.empty() && spans_.front().to <= oldest)
            spans_.erase(spans_.begin());
    }
    std::span<const HiddenSpan> ended() const { return spans_; }

  private:
    static constexpr std::size_t kMost = 24;
    std::optional<FrameIndex> from_;
    std::vector<HiddenSpan> spans_;
};

}  // namespace rankwright::listening
