// One open PortAudio stream and the only function that runs on the audio thread.
#pragma once

#include "capture/capture_ring.h"
#include "capture/inputs.h"

#include <atomic>
#include <memory>
#include <optional>
#include <string>

#include <portaudio.h>

namespace rankwright::capture {

/// What the audio thread may touch.
struct Inlet {
    RingWriter writer;
    std::atomic<std::uint64_t>& overruns;  ///< counted over all streams of a source
    std::atomic<std::uint64_t> frames{0};  ///< that arrived in this stream
};

/// PortAudio's callback; `inlet` is an Inlet. Copies, stamps, pushes, counts. [audio]
int receive(const void* input, void* output, unsigned long frames,
            const PaStreamCallbackTimeInfo* time, PaStreamCallbackFlags flags,
            void* inlet) noexcept;

/// All calls, construction by `open` and destruction need PortAudio's lock, may block for half a
/// minute, and belong to the device thread; except `frames`. [device]
class LiveStream {
  public:
    struct Parameters {
        std::optional<SampleRate> rate;
        int channels = 1;
        std::uint32_t number = 0;  ///< stamped on the blocks as `stream`
    };
    /// Opens and starts. When the wanted rate is refused, others are tried and `note` says so.
    static Result<std::unique_ptr<LiveStream>> open(const Input& input, const Parameters& wanted,
                                                    CaptureRing& ring,
                                                    std::atomic<std::uint64_t>& overruns);
    ~LiveStream();
    LiveStream(const LiveStream&) = delete;
    LiveStream& operator=(const LiveStream&) = delete;

    /// False once the device has stopped it.
    bool active() const;
    std::uint64_t frames() const noexcept {  ///< [any]
        return inlet_->frames.load(std::memory_order_relaxed);
    }
    const std::string& note() const { return note_; }

  private:
    LiveStream(std::unique_ptr<Inlet> inlet, PaStream* stream, std::string note);

    std::unique_ptr<Inlet> inlet_;
    PaStream* stream_;
    std::string note_;
};

}  // namespace rankwright::capture
