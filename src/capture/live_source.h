// Sound from a microphone, through PortAudio.
#pragma once

#include "capture/source.h"

#include <memory>
#include <optional>
#include <string>

namespace rankwright::capture {

struct LiveOptions {
    /// The name of an input, or a part of it that no other has, or its number in list_inputs;
    /// empty: the computer's default input.
    std::string device;
    /// Empty: 48 kHz, or else what the device prefers. A rate that it refuses is said in the status
    /// and replaced.
    std::optional<SampleRate> rate;
    /// 1 or 2; a device that has only one gives one. Where the second is a copy of the first (one
    /// microphone, doubled by the sound system) the blocks have one, until they differ.
    int channels = 2;
};

/// Opens a live input. Returns at once: the stream is opened, watched, closed and opened again by a
/// device thread, since these calls can block for half a minute. While the input can't be opened
/// the state is `failed` (at the start) or `lost` (later), `message` says what to do, and it is
/// tried again about once a second, so that plugging the microphone in is enough. Destroying the
/// source takes at most about a second, even when the sound system hangs. [any]
std::unique_ptr<Source> open_live(const LiveOptions& options = {});

}  // namespace rankwright::capture
