// A rank played through, key after key: every pipe recognised, measured and put in place, and what
// is wrong on the way noticed.
#pragma once

#include "organ/instrument.h"
#include "organ/target.h"
#include "tuning/placing.h"
#include "tuning/tones_heard.h"

#include <optional>
#include <vector>

namespace rankwright::tuning {

/// One pipe as it was heard.
struct SurveyReading {
    organ::Pipe pipe;
    HeardTone tone;
    Hertz target;            ///< today's
    Cents deviation;         ///< from that, positive = sharp
    Slip slip = Slip::none;  ///< it sounds another natural tone than its own
};

enum class FaultKind {
    wrong_stop,   ///< the whole rank sounds another footage than the stop that was asked for
    second_pipe,  ///< sounds with each key at a multiple of its pitch: a coupler, another stop
    semitone_doubtful,  ///< the rank may have been played a key beside, and stand a semitone off
    octave,             ///< one pipe overblows, or another key was played
    missing,            ///< a key in the middle of the play without a sound
    off_speech,         ///< slow, or through another note, or never settling
    cipher,             ///< goes on sounding under the keys after it
    tremulant,          ///< left on
    no_key,             ///< a tone that no key of the rank explains
};

struct SurveyFault {
    FaultKind kind = FaultKind::missing;
    std::optional<organ::Pipe> pipe;  ///< empty: the whole rank
    FrameIndex at;                    ///< where in the sound
    Cents interval{0.0};  ///< wrong_stop, octave: above what was expected; second_pipe: above it
    std::optional<bool> time_passed;  ///< missing: time enough went by for the key to be held
    std::optional<Seconds> speech;    ///< off_speech: how long it took
    std::optional<Hertz> heard;       ///< no_key, and off_speech through another note: its pitch
    bool sounded = false;  ///< missing: in its turn something sounded that was no tone to the ear
};

/// What came out.
struct SurveyResult {
    std::vector<SurveyReading> readings;  ///< in the order of play
    std::vector<SurveyFault> faults;
    std::vector<organ::Pipe> not_played;  ///< below the lowest and above the highest key heard, or
                                          ///< of a chest side that wasn't played
    std::vector<organ::Pipe> hidden;      ///< under a cipher they couldn't be read, or what sounded
                                          ///< in their turn couldn't be told from it
    /// A of today: as given, or as the pipes tell; empty when it can't be told from this rank
    /// (reeds, a wrong stop).
    std::optional<Hertz> pitch;
    bool pitch_measured = false;
    Cents pitch_uncertainty{0.0};  ///< standard; of a measured one
    Cents from_expected{0.0};  ///< the rank's middle above the pitch given, or where the organ's
                               ///< own A stands at the day's temperature
};

/// The pipes of one rank (of a mixture: one row), by key, and the day.
struct SurveyPlan {
    const organ::Instrument* instrument = nullptr;
    std::vector<organ::Pipe> pipes;
    organ::Day day;
};

/// Judges tones that were heard one after the other while `plan`'s rank was played.
SurveyResult judge_survey(const SurveyPlan& plan, const std::vector<HeardTone>& tones,
                          SampleRate rate);

/// Survey while it is played. Belongs to the listening thread. The instrument must outlive it.
class Survey {
  public:
    explicit Survey(SurveyPlan plan) : plan_(std::move(plan)) {}
    /// The day was told otherwise meanwhile; what was heard stays.
    void expect(SurveyPlan plan) { plan_ = std::move(plan); }
    void hear(const listening::Hearing& hearing) { heard_.hear(hearing); }
    void finish() { heard_.finish(); }

    const std::vector<HeardTone>& tones() const { return heard_.tones(); }
    std::optional<ToneNow> now() const { return heard_.now(); }
    const SurveyPlan& plan() const { return plan_; }
    SampleRate rate() const { return heard_.rate(); }
    /// Of all tones that have ended so far; works it out anew (tenths of a second for a rank).
    SurveyResult result() const { return judge_survey(plan_, heard_.tones(), heard_.rate()); }

  private:
    SurveyPlan plan_;
    TonesHeard heard_;
};

}  // namespace rankwright::tuning
