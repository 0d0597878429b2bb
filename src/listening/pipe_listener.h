// Follows one pipe at a time through a live stream: finds tones, reads them, notices what lies.
#pragma once

#include "listening/coarse_pitch.h"
#include "listening/hearing.h"

#include <memory>
#include <optional>
#include <span>
#include <vector>

namespace rankwright::listening {

class PipeListener {
  public:
    struct Parameters {
        SampleRate rate{48000.0};
        int channels = 1;  ///< 1 or 2; of two, what each hears best is used
        /// What may be left of tones that were taken out of the sound: no pipe, unless twice as
        /// strong. As it comes and goes like the wind in a silent pipe, that isn't told then.
        std::vector<SpectralLine> taken_out = {};
    };
    explicit PipeListener(const Parameters& parameters);
    ~PipeListener();
    PipeListener(PipeListener&&) noexcept;
    PipeListener& operator=(PipeListener&&) noexcept;

    /// The pitch awaited, within a semitone or so; empty: any pitch from 15.4 Hz to 8.4 kHz. A tone
    /// elsewhere is still found and named (wrong key). Ribbons are drawn against it.
    void expect(std::optional<Hertz> pitch);

    /// Takes the next interleaved frames. A jump in `first` (lost frames) restarts the phase and
    /// never corrupts a reading. Never allocates. [listening]
    void process(FrameIndex first, std::span<const float> interleaved);

    /// The state after the last `process`; renewed at least 20 times a second of sound. [listening]
    const Hearing& hearing() const;

    /// Partial frames since the present tone began, oldest first, at most 12 s of them. [listening]
    std::span<const PartialFrame> partial_frames() const;

  private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace rankwright::listening
