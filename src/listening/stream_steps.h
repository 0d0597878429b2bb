// A stream of pieces of any size, cut into steps of 10 ms.
#pragma once

#include "core/units.h"

#include <cstddef>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

namespace rankwright::listening {

/// Looks and decisions a second.
inline constexpr double kSteps_hz = 100.0;
/// Steps from one frame of a tone's partials to the next, and how long frames are kept.
inline constexpr int kFrameEvery = 3;
inline constexpr Seconds kFramesKept{12.0};

/// Steps begin at whole multiples of their length, so that the size of the pieces it comes in
/// changes nothing. What isn't a number counts as silence. Allocates at construction only.
class StreamSteps {
  public:
    /// A step is a whole multiple of `thinning` frames.
    StreamSteps(SampleRate rate, int channels, int thinning);

    /// Where the next piece should begin; empty before the first.
    std::optional<FrameIndex> next() const { return next_; }
    /// Forgets the step that was begun: the stream goes on elsewhere.
    void drop() { pending_frames_ = 0; }

    /// Takes a piece; calls `step(first, interleaved)` with each step that is full. After a jump
    /// the first step may be short.
    template <typename Step>
    void take(FrameIndex first, std::span<const float> interleaved, Step&& step) {
        next_ = first + static_cast<std::int64_t>(interleaved.size() / width_);
        FrameIndex at = first;
        while (!interleaved.empty()) {
            const std::size_t taken = fill(at, interleaved);
            at = at + static_cast<std::int64_t>(taken);
            interleaved = interleaved.subspan(taken * width_);
            if (at.value % step_frames_ != 0) continue;
            const std::int64_t frames = pending_frames_;
            pending_frames_ = 0;
            step(at + -frames, std::span<const float>(pending_.data(),
                                                      static_cast<std::size_t>(frames) * width_));
        }
    }
    /// The number of the step that ends at a frame.
    std::int64_t number(FrameIndex end) const { return end.value / step_frames_; }

  private:
    /// Frames up to the end of the step that `at` stands in, at most those at hand.
    std::size_t fill(FrameIndex at, std::span<const float> interleaved);

    std::size_t width_;
    std::int64_t step_frames_;
    std::vector<float> pending_;
    std::int64_t pending_frames_ = 0;
    std::optional<FrameIndex> next_;
};

}  // namespace rankwright::listening
