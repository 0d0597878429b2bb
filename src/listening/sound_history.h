// The last seconds of sound, ready to be looked at again once a tone is known.
#pragma once

#include "core/units.h"

#include <cstddef>
#include <span>
#include <vector>

namespace rankwright::listening {

/// Keeps the newest seconds of each channel, each contiguous. Rates above 64 kHz are
/// filtered and thinned to a half or a quarter, which keeps every pipe's useful partials. Frames
/// here are counted in thinned frames: frame n is frame n·thinning() of the stream.
class SoundHistory {
  public:
    SoundHistory(SampleRate rate, int channels, Seconds kept = kKept);

    /// Takes interleaved frames; a jump in `first` forgets everything before. Never allocates.
    void push(FrameIndex first, std::span<const float> interleaved);

    SampleRate rate() const { return rate_; }
    int channels() const { return channels_; }
    int thinning() const { return thinning_; }

    /// One past the newest frame.
    FrameIndex end() const { return end_; }
    /// The oldest frame at hand since the last gap.
    FrameIndex begin() const;
    /// Frames `from` to `to` of one channel. Requires begin() ≤ from ≤ to ≤ end().
    std::span<const float> between(int channel, FrameIndex from, FrameIndex to) const;
    /// The newest `count` frames, or none when there are fewer.
    std::span<const float> newest(int channel, std::size_t count) const;

    static constexpr Seconds kKept{2.0};

  private:
    void make_room();

    SampleRate rate_;
    int channels_;
    int thinning_ = 1;
    std::size_t keep_;
    std::vector<std::vector<float>> sound_;  // of each channel: room for twice keep_
    std::size_t size_ = 0;
    FrameIndex end_;

    FrameIndex next_;  // of the stream, expected next
    bool started_ = false;
    std::vector<float> taps_;                // of the thinning filter
    std::vector<std::vector<float>> delay_;  // of each channel, newest last, twice over
    std::size_t delay_at_ = 0;
};

}  // namespace rankwright::listening
