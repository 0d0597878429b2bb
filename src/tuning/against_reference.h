// The second tuning job: one pipe to its reference, by the beats between them.
#pragma once

#include "core/units.h"
#include "listening/hearing.h"
#include "listening/pair/listener.h"
#include "organ/reference.h"
#include "tuning/drawing.h"
#include "tuning/reference_pitch.h"
#include "tuning/single_pipe.h"
#include "tuning/slow_beat.h"
#include "tuning/steady_mean.h"

#include <optional>
#include <vector>

namespace rankwright::tuning {

/// Which two should be sounding, and how they should beat.
struct PairedExpectation {
    organ::Pipe pipe;            ///< the one that is tuned
    organ::Reference reference;  ///< from which one, where partials meet, and the target beat
    Hertz reference_target;      ///< where the reference itself should stand today
    /// Today's A was measured: a reference that is off its target is off by itself. Otherwise it
    /// may be the day's pitch, and nothing is said against it.
    bool day_known = false;
    Cents tolerance{0.5};             ///< of the pipe
    double speed_of_sound = 343.2;    ///< metres a second at the pipe
    std::vector<KeyPitch> others;     ///< by what the stop's other keys are recognised
    ReferencePitch reference_before;  ///< as it was heard earlier, nobody having moved it since
    /// Where it was read last, so that it is looked for there; it may have gone on with the air.
    std::optional<Hertz> reference_seen;

    /// The pitch at which the pipe has its target beat with a reference at `reference`.
    Hertz wanted(Hertz reference_pitch) const;
    /// Beats a second by which `off` changes the beat.
    Hertz beats(Cents off, Hertz reference_pitch) const;
};

/// How the work on this pipe stands. Everything optional is empty while it isn't known.
struct PairedState {
    Seconds at{0.0};  ///< of the stream, when this was heard
    /// Its deviation is that from the pitch at which the target beat is heard; `uncertainty` is at
    /// least half of what the beat stays under, when only that is known.
    PipeState pipe;
    std::optional<Hertz> beat;        ///< positive = the pipe is sharp of the pure interval
    std::optional<Hertz> beat_sd;     ///< standard uncertainty of that
    std::optional<Hertz> under;       ///< set when only this is known: the beat is slower
    std::optional<Hertz> off_target;  ///< beat less the target beat: positive = sharp
    /// The reference: as heard alone, each time that it was, or else beside the pipe. Kept for as
    /// long as the pipe is worked at.
    std::optional<Hertz> reference;
    std::optional<Cents> reference_deviation;    ///< from its own target, positive = sharp
    std::optional<Cents> reference_uncertainty;  ///< standard
    /// Nothing tells yet whether the pipe sounds as well, in tune with it.
    bool perhaps_both = false;
    bool copies_error = false;  ///< the reference is clearly off, and the pipe would follow it
    /// Whether the two draw each other, as far as both were heard alone.
    DrawingVerdict drawing;
    /// They do: their beat says nothing of the pipe; it is to be heard, and tuned, alone.
    bool drawn() const;
};

/// Judges each hearing of the two against the expectation. Belongs to the listening thread.
class AgainstReference {
  public:
    /// Begins with a pipe, or takes its changed target; a settled pipe is judged anew.
    void expect(PairedExpectation expectation);
    /// What both ears say: the one for two pipes, and the one for a single tone, which names other
    /// keys while the two that are awaited don't sound.
    void hear(const listening::PairHearing& pair, const listening::Hearing& any);
    /// The pipe by itself, as it stands now: what the two then do together tells whether they draw
    /// each other. Forgotten once the pipe is moved.
    void heard_alone(const listening::PitchReading& pipe) { pipe_alone_ = pipe; }
    /// The same pipe to be heard by itself, and put where it has its target beat with the reference
    /// as that was heard, now and before; requires an expectation.
    Expectation alone() const;

    const PairedState& state() const { return state_; }
    const std::optional<PairedExpectation>& expectation() const { return expectation_; }
    /// What the ear for two pipes should listen for; requires an expectation.
    listening::PairExpectation awaited() const;

  private:
    void say(const listening::PairHearing& pair, const listening::Hearing& any);
    bool is_foreign(const listening::Hearing& any) const;
    bool foreign_insists(const listening::Hearing& any);
    bool name_other_key(const listening::Hearing& any);
    void hear_reference(const listening::PairHearing& pair);
    void note_reference(Hertz heard, Cents uncertainty);
    void judge(const listening::PairHearing& pair, const listening::Hearing& any);
    bool pipe_has_come(const listening::PairHearing& pair);
    void judge_drawn(const listening::PairHearing& pair, const listening::Hearing& any);
    void say_beat(const listening::BeatReading& latest, Seconds heard);
    void follow_standing(bool moving);

    std::optional<PairedExpectation> expectation_;
    PairedState state_;
    SteadyMean standing_;         ///< cents from where the target beat would be heard
    SlowBeat slow_;               ///< since the same
    int stands_ = 0;              ///< SteadyMean::stands, as seen last
    std::optional<Cents> stood_;  ///< where, before it was moved or seemed to be
    ReferencePitch heard_alone_;  ///< the reference
    /// The reference, and the pipe, while each sounded alone, as heard last.
    std::optional<listening::PitchReading> reference_alone_;
    std::optional<listening::PitchReading> pipe_alone_;
    int tone_ = -1;  ///< the tone that `standing_` and `since_key_` are of
    /// What the sound of one key told of whether the pipe sounds beside its reference.
    struct SinceKey {
        bool heard = false;                ///< a reading was judged
        bool both = false;                 ///< the two of them were told
        bool counted = false;              ///< a reading of them counted
        std::optional<Seconds> pipe_came;  ///< after what may have been its reference alone
    };
    SinceKey since_key_;
    std::optional<Seconds> foreign_since_;  ///< when a tone began that is neither of them
    Spoken spoken_;
    TapWatch taps_;
};

}  // namespace rankwright::tuning
