// The sound of a survey as its parts see it, with what was taken out of it.
#pragma once

#include "core/units.h"
#include "listening/coarse_pitch.h"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <span>
#include <vector>

namespace rankwright::tuning {

struct SurveySound {
    std::span<const float> interleaved;
    SampleRate rate;
    int channels = 1;
    std::vector<Hertz> taken_out = {};               ///< lines: what stood there is no more
    std::vector<listening::SpectralLine> left = {};  ///< what of them may be left

    std::int64_t frames() const { return static_cast<std::int64_t>(interleaved.size()) / channels; }
    std::int64_t frames(Seconds time) const {
        return static_cast<std::int64_t>(time.count() * rate.value());
    }
    /// Frames [from, to) of one channel. Requires both inside.
    std::vector<float> cut(std::size_t channel, FrameIndex from, FrameIndex to) const {
        const auto width = static_cast<std::size_t>(channels);
        std::vector<float> one(static_cast<std::size_t>(to - from));
        for (std::size_t i = 0; i < one.size(); ++i)
            one[i] = interleaved[(static_cast<std::size_t>(from.value) + i) * width + channel];
        return one;
    }
};

}  // namespace rankwright::tuning
