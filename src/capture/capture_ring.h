// Moves sound off the thread that must never wait: fixed blocks through a lock-free ring.
#pragma once

#include "capture/source.h"

#include <algorithm>
#include <atomic>
#include <cstring>

#include <readerwriterqueue/readerwritercircularbuffer.h>

namespace rankwright::capture {

/// A ring of blocks for one writing and one reading thread. Allocates at construction only.
class CaptureRing {
  public:
    /// 256 blocks, 1 MB: 2.7 s of full blocks at 48 kHz, so that a busy machine loses nothing.
    static constexpr std::size_t kBlocks = 256;

    explicit CaptureRing(std::size_t blocks = kBlocks) : queue_(blocks) {}

    /// Wait-free. When the ring is full the block is dropped and its frames are counted. [audio]
    void push(const CaptureBlock& block) noexcept {
        if (!queue_.try_enqueue(block))
            dropped_frames_.fetch_add(block.frames, std::memory_order_relaxed);
    }

    /// The oldest block, waiting up to `patience`; false when none came. [listening]
    bool read(CaptureBlock& block, Seconds patience) {
        const auto wait = std::chrono::duration_cast<std::chrono::microseconds>(patience);
        return queue_.wait_dequeue_timed(block, std::max<std::int64_t>(wait.count(), 0));
    }

    std::uint64_t dropped_frames() const noexcept {  ///< [any]
        return dropped_frames_.load(std::memory_order_relaxed);
    }

  private:
    moodycamel::BlockingReaderWriterCircularBuffer<CaptureBlock> queue_;
    std::atomic<std::uint64_t> dropped_frames_{0};
};

/// Cuts one stream's sound into stamped blocks, whatever the length of the pieces it comes in.
/// Frames are counted also while blocks are dropped, so that the reader sees the gap.
class RingWriter {
  public:
    /// `channels` 1 or 2. The ring must outlive the writer.
    RingWriter(CaptureRing& ring, SampleRate rate, std::uint32_t channels, std::uint32_t stream)
        : ring_(&ring) {
        block_.rate = rate;
        block_.channels = channels;
        block_.stream = stream;
    }

    /// Wait-free, never allocates. [audio]
    void write(const float* interleaved, std::size_t frames) noexcept {
        while (frames > 0) {
            const std::size_t now = std::min(frames, kBlockFrames);
            const std::size_t samples = now * block_.channels;
            std::memcpy(block_.samples.data(), interleaved, samples * sizeof(float));
            block_.first = next_;
            block_.frames = static_cast<std::uint32_t>(now);
            ring_->push(block_);
            next_ = next_ + static_cast<std::int64_t>(now);
            interleaved += samples;
            frames -= now;
        }
    }

    /// Some frames were lost before they reached us: the next block's `first` jumps. [audio]
    void skip(std::size_t frames) noexcept { next_ = next_ + static_cast<std::int64_t>(frames); }

  private:
    CaptureRing* ring_;
    CaptureBlock block_;
    FrameIndex next_;
};

}  // namespace rankwright::capture
