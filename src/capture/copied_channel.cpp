#include "capture/copied_channel.h"

namespace rankwright::capture {

void CopiedChannel::fold(CaptureBlock& block) {
    if (block.channels != 2) return;
    if (stream_ != block.stream) differ_ = false;
    stream_ = block.stream;
    for (std::size_t i = 0; i < block.frames && !differ_; ++i)
        differ_ = block.samples[2 * i] != block.samples[2 * i + 1];
    if (differ_) return;
    block.channels = 1;
    for (std::size_t i = 0; i < block.frames; ++i)
        block.samples[i] = block.samples[2 * i];
}

}  // namespace rankwright::capture
