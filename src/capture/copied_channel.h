// One microphone that the sound system gives as two channels.
#pragma once

#include "capture/source.h"

#include <optional>

namespace rankwright::capture {

/// A copy adds no knowledge, but would count as a second witness.
class CopiedChannel {
  public:
    /// Makes a block of two equal channels one of a single channel, until they have once differed
    /// in this stream.
    void fold(CaptureBlock& block);

  private:
    std::optional<std::uint32_t> stream_;
    bool differ_ = false;
};

}  // namespace rankwright::capture
