// From the live ear's hearings to the tones that sounded one after the other.
#pragma once

#include "core/units.h"
#include "listening/hearing.h"
#include "tuning/steady_mean.h"

#include <optional>
#include <vector>

namespace rankwright::tuning {

/// How well a pitch is known that never stood (a tremulant swings so far): common practice, no
/// source.
inline constexpr Cents kAbout{5.0};

/// How far what stands at every `times`-th partial of a tone stands from its other partials.
struct EveryNth {
    int times = 2;
    Cents apart;  ///< positive: above
    Cents sd;
};

/// One tone from its onset to its end.
struct HeardTone {
    FrameIndex from;   ///< onset
    FrameIndex stood;  ///< from here on its speech is over
    FrameIndex to;     ///< one past the last frame at which it stood
    FrameIndex left;   ///< from here the ear no longer held it for sounding; between `to` and this
                       ///< it was ending, or hidden
    Hertz pitch;       ///< mean while it stood; only near it (some cents) when `read` is false
    Hertz about;       ///< mean of all that was heard of it, also while it swung or was hidden
    Cents uncertainty = kAbout;        ///< standard
    bool read = false;                 ///< `pitch` rests on honest readings
    std::optional<Seconds> speech;     ///< from onset to the first reading, or until it had
                                       ///< crept into its pitch; empty: it never settled
    bool crept = false;                ///< it was read far from where it came to stand
    std::optional<Hertz> spoke_first;  ///< another note that its speech stood at before
    bool onset_disturbed = false;      ///< a knock or a word hid its speech
    bool tremulant = false;
    bool goes_on = false;  ///< still sounds under the tones after it; only a recording tells
    Decibels level{-120.0};
    listening::Partials partials;
    std::vector<EveryNth> every_nth;  ///< only a recording tells
    /// Before it, since the tone before, something sounded so long without a pause, about as loud
    /// as the tones, that was no tone to the ear: two keys at once, or a long word.
    Seconds unread_before{0.0};

    Seconds lasted(SampleRate rate) const { return duration(left - from, rate); }
};

/// The tone that sounds, as far as it is known.
struct ToneNow {
    Hertz pitch;                       ///< mean while it stood, or near it
    std::optional<Cents> uncertainty;  ///< standard; empty while nothing honest is read of it
    Seconds heard{0.0};                ///< what the mean rests on
};

/// Gathers them. Belongs to the listening thread; allocates when a tone ends.
class TonesHeard {
  public:
    void hear(const listening::Hearing& hearing);
    /// The sound is over: what still sounds ends here.
    void finish();

    /// Tones that have ended, in the order of their onsets.
    const std::vector<HeardTone>& tones() const { return tones_; }
    SampleRate rate() const { return rate_; }
    std::optional<ToneNow> now() const;

  private:
    bool creeps_on() const;
    void creep_on();
    void begin(const listening::Hearing& hearing, FrameIndex from);
    void go_on(const listening::Hearing& hearing);
    void watch_speech(const listening::Hearing& hearing, Seconds now);
    void watch_unread(const listening::Hearing& hearing);
    void find_creeping(HeardTone& tone) const;
    void end();
    bool continues_the_last() const;
    void join_to_last();

    SampleRate rate_{48000.0};
    std::vector<HeardTone> tones_;
    std::optional<HeardTone> tone_;  ///< that sounds now
    double loudness_db_ = -120.0;    ///< of the input, while the last tones were read
    std::optional<FrameIndex> loud_since_;
    Seconds unread_{0.0};  ///< the longest since the last tone
    int number_ = 0;       ///< of that, or of the last one, as the ear counts
    SteadyMean mean_;      ///< cents from A 440
    int with_tremulant_ = 0, hearings_ = 0;
    double coarse_sum_ = 0.0;  ///< cents from A 440, of all hearings at its present note
    int coarse_count_ = 0;
    std::optional<Hertz> speaks_at_;  ///< the note that its speech stands at
    Seconds speaks_since_{0.0};
    struct Passed {
        Seconds after;  ///< its onset
        Cents at;       ///< from A 440
        bool moving;
    };
    std::vector<Passed> way_;  ///< its pitch while it may still creep in
};

}  // namespace rankwright::tuning
