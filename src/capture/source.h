// One interface for every way that sound comes in.
#pragma once

#include "core/units.h"

#include <array>
#include <cstdint>
#include <string>

namespace rankwright::capture {

inline constexpr std::size_t kBlockFrames = 512;

/// Up to 512 interleaved frames of one or two channels. `first` jumps when frames were lost;
/// `stream` grows by one whenever the stream was reopened (frames then count from 0 again).
struct CaptureBlock {
    FrameIndex first;
    SampleRate rate{48000.0};
    std::uint32_t stream = 0;
    std::uint32_t frames = 0;
    std::uint32_t channels = 1;
    std::array<float, 2 * kBlockFrames> samples{};
};

enum class SourceState {
    opening,  ///< not yet running
    running,
    lost,    ///< the device went away or froze; being reopened
    ended,   ///< a recording was played to its end
    failed,  ///< can't be opened: `message` says what to do
};

struct SourceStatus {
    SourceState state = SourceState::opening;
    std::string name;                  ///< "USB microphone", "simulated chamber", a file's name
    std::string message;               ///< what is wrong and what to do; empty when all is well
    std::uint64_t dropped_frames = 0;  ///< lost because the ring was full
    std::uint64_t overruns = 0;        ///< the device itself reported losing input
    std::uint64_t reopened = 0;
};

/// Where sound comes from. Made by open_live, open_recording or open_simulated.
class Source {
  public:
    virtual ~Source() = default;
    /// The next block, waiting up to `patience`; false when none came. [listening]
    virtual bool read(CaptureBlock& block, Seconds patience) = 0;
    virtual SourceStatus status() const = 0;  ///< [any]
};

}  // namespace rankwright::capture
