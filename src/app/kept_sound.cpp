#include "app/kept_sound.h"

#include <algorithm>

namespace rankwright::app {

bool KeptSound::is_other(const capture::CaptureBlock& block) const {
    return begun_ && (block.rate != latest_.rate || block.channels != latest_.channels);
}

void KeptSound::restart() { *this = {}; }

void KeptSound::add_silence(std::int64_t frames) {
    end_ = end_ + frames;
    if (whole_)
        samples_.resize(samples_.size() + static_cast<std::size_t>(frames) * latest_.channels);
}

void KeptSound::keep(const capture::CaptureBlock& block, bool pass_over) {
    constexpr Seconds kPause{1.0};
    constexpr Seconds kMostLost{10.0};
    const auto frames_in = [&](Seconds time) {
        return static_cast<std::int64_t>(time.count() * block.rate.value());
    };
    if (begun_) {
        const std::int64_t lost =
            block.first - (latest_.first + static_cast<std::int64_t>(latest_.frames));
        if (block.stream != latest_.stream || lost < 0)
            add_silence(frames_in(kPause));
        else if (lost > 0)
            add_silence(std::min(lost, frames_in(kMostLost)));
    }
    begun_ = true;
    latest_ = block;
    const auto frames = static_cast<std::int64_t>(block.frames);
    if (!pass_over) {
        if (whole_)
            samples_.insert(samples_.end(), block.samples.begin(),
                            block.samples.begin() + frames * block.channels);
        end_ = end_ + frames;
    }
    shift_ = end_ - (block.first + frames);
    if (whole_ && duration(end_ - FrameIndex{}, block.rate) > kLongest) {
        whole_ = false;
        samples_ = {};
    }
}

}  // namespace rankwright::app
