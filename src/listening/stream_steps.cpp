#include "listening/stream_steps.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

StreamSteps::StreamSteps(SampleRate rate, int channels, int thinning)
    : width_(static_cast<std::size_t>(channels)),
      step_frames_(thinning *
                   std::max<std::int64_t>(1, std::lround(rate.value() / (thinning * kSteps_hz)))),
      pending_(static_cast<std::size_t>(step_frames_) * width_) {}

std::size_t StreamSteps::fill(FrameIndex at, std::span<const float> interleaved) {
    const std::int64_t left = step_frames_ - at.value % step_frames_;
    const auto count =
        std::min<std::size_t>(interleaved.size() / width_, static_cast<std::size_t>(left));
    float* to = &pending_[static_cast<std::size_t>(pending_frames_) * width_];
    for (std::size_t i = 0; i < count * width_; ++i)
        to[i] = std::isfinite(interleaved[i]) ? interleaved[i] : 0.0F;
    pending_frames_ += static_cast<std::int64_t>(count);
    return count;
}

}  // namespace rankwright::listening
