// The sound of a play from its beginning, so that it can be heard once more as a whole.
#pragma once

#include "capture/source.h"
#include "core/units.h"

#include <vector>

namespace rankwright::app {

/// Belongs to the listening thread. Frames that were lost are filled with silence; a stream that
/// was reopened goes on after a second of it.
class KeptSound {
  public:
    /// Another rate or number of channels than what is kept: `restart` first.
    bool is_other(const capture::CaptureBlock& block) const;
    void restart();
    /// Adds the block, or, with `pass_over`, leaves it out as if no time had passed. More than
    /// kLongest isn't kept: then the whole is gone, but its frames are counted on.
    void keep(const capture::CaptureBlock& block, bool pass_over);

    /// Where the stream's frame stands in what is kept; of frames since the last gap.
    FrameIndex place_of(FrameIndex in_stream) const { return in_stream + shift_; }
    FrameIndex end() const { return end_; }
    bool whole() const { return whole_ && end_ > FrameIndex{}; }
    const std::vector<float>& interleaved() const { return samples_; }
    int channels() const { return static_cast<int>(latest_.channels); }
    SampleRate rate() const { return latest_.rate; }

    static constexpr Seconds kLongest{900.0};

  private:
    void add_silence(std::int64_t frames);

    std::vector<float> samples_;
    capture::CaptureBlock latest_;
    FrameIndex end_;
    std::int64_t shift_ = 0;
    bool whole_ = true;
    bool begun_ = false;
};

}  // namespace rankwright::app
