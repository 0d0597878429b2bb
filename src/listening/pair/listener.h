// Follows a reference and the pipe being tuned from it through a live stream.
#pragma once

#include "listening/hearing.h"
#include "listening/pair/pair.h"

#include <memory>
#include <optional>
#include <span>

namespace rankwright::listening {

/// What the ear has to say of two pipes at one moment.
struct PairHearing {
    FrameIndex now;
    SampleRate rate{48000.0};
    /// Of both together: `silence` when neither sounds, `speaking` until both have settled,
    /// `moving` while the pipe is being moved, `disturbed` while a knock or voice hides them.
    Sounding sounding = Sounding::silence;
    int tone = 0;                  ///< grows when either falls silent and begins again
    bool reference_alone = false;  ///< one pitch only is heard, and read as the reference's own
    /// Nothing tells yet whether one pitch is the reference's alone, or a reading that of the two;
    /// the other may be so: two in tune, or a reference with its unrest.
    bool perhaps_both = false;
    /// As read while alone, on this key; else empty. The uncertainty holds what two could hide.
    std::optional<PitchReading> reference;
    std::optional<BeatReading> reading;       ///< only while it is honest
    Seconds heard{0.0};                       ///< how much sound `reading` rests on
    std::optional<double> drift_hz_a_second;  ///< how the beat rate changes
    InputLevel input;
    Suspicions suspicions;
};

/// What should be sounding.
struct PairExpectation {
    Hertz reference;            ///< its pitch by the model, or as last measured
    Hertz reference_sd;         ///< how well that is known
    int reference_partial = 1;  ///< which partials meet, as in PairRequest
    int pipe_partial = 1;
};

class PairListener {
  public:
    struct Parameters {
        SampleRate rate{48000.0};
        int channels = 1;  ///< 1 or 2; of two, the one that hears a press of the key better
    };
    explicit PairListener(const Parameters& parameters);
    ~PairListener();
    PairListener(PairListener&&) noexcept;
    PairListener& operator=(PairListener&&) noexcept;

    void expect(const PairExpectation& expected);
    /// Takes the next interleaved frames. A jump in `first` restarts the phase. Never allocates in
    /// steady work. [listening]
    void process(FrameIndex first, std::span<const float> interleaved);
    /// Renewed at least 10 times a second of sound. [listening]
    const PairHearing& hearing() const;
    /// Envelopes of the first meetings of partials since both sound: the modulus of each phasor is
    /// what beats. At most 12 s. [listening]
    std::span<const PartialFrame> meeting_frames() const;

  private:
    struct State;
    std::unique_ptr<State> state_;
};

}  // namespace rankwright::listening
