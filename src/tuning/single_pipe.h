// The first tuning job: one pipe to its computed target.
#pragma once

#include "core/units.h"
#include "listening/hearing.h"
#include "organ/movement.h"
#include "organ/pipe.h"
#include "tuning/speech.h"
#include "tuning/stage.h"
#include "tuning/steady_mean.h"
#include "tuning/tap_watch.h"

#include <optional>
#include <string>
#include <utility>
#include <vector>

namespace rankwright::tuning {

/// Another key of the stop, and the pitch by which it would be recognised.
struct KeyPitch {
    int key = 1;
    Hertz pitch;
};

/// What should be sounding.
struct Expectation {
    organ::Pipe pipe;
    Hertz target;
    Cents tolerance{0.5};
    double speed_of_sound = 343.2;  ///< metres a second at the pipe
    std::vector<KeyPitch> others;   ///< the stop's keys, this one among them or not
    /// Standard, of the target itself where it was heard from another pipe: nothing settles by one
    /// that is hardly better known than the tolerance.
    Cents target_doubt{0.0};
};

/// How near is near enough: half a cent, but no nearer than a beat in twenty seconds, which the
/// bass would not show and its wind would not hold. Common practice, no source.
Cents tolerance_at(Hertz target);

/// How the work on this pipe stands. Everything optional is empty while it isn't known.
struct PipeState {
    Stage stage = Stage::waiting;
    int tone = 0;  ///< which tone was heard last: listening::Hearing::tone
    /// While the pipe stands, the mean since it was last moved (at most six seconds); while it is
    /// being moved, the pitch now.
    std::optional<Hertz> pitch;
    std::optional<Cents> deviation;    ///< from the target, positive = sharp
    std::optional<Cents> uncertainty;  ///< standard, of that pitch; or see `target_known`
    /// False where the target, heard from another pipe, is hardly better known than the tolerance:
    /// nothing settles by it, and `uncertainty` is of the deviation.
    bool target_known = true;
    Seconds heard{0.0};  ///< how much sound the figure rests on
    /// Until the pipe has stood since its tone began, and, by beats, surely sounds, its figure is
    /// shown, but nobody is to move it by that, and nothing is kept of it.
    bool counts = true;
    bool drifting = false;                  ///< the pitch clearly goes one way: hands off, wait
    std::optional<organ::Movement> advice;  ///< empty inside the tolerance
    std::string taps;  ///< with advice, once a tap was seen: "about two taps like the last"
    std::optional<Hertz> wrong_pitch;  ///< for Stage::wrong_key: what sounds instead …
    std::optional<int> wrong_key;      ///< … and which key of the stop that would be
};

/// Says which way to move `pipe` and how far, from the deviation in `state` after it was added to
/// `standing` at a time of the stream; nothing inside the tolerance, nor before the figure counts,
/// nor while sharp or flat isn't known at 2 standard deviations.
void advise(const organ::Pipe& pipe, Cents tolerance, double speed_of_sound, Seconds at,
            const SteadyMean& standing, TapWatch& taps, PipeState& state);

/// Judges each hearing against the expectation. Belongs to the listening thread.
class SinglePipe {
  public:
    /// Begins with a pipe, or takes its changed target; a settled pipe is judged anew.
    void expect(Expectation expectation);
    void hear(const listening::Hearing& hearing);

    const PipeState& state() const { return state_; }
    const std::optional<Expectation>& expectation() const { return expectation_; }

  private:
    void say(const listening::Hearing& hearing);
    void judge(const listening::Hearing& hearing);
    bool name_wrong_key(const listening::Hearing& hearing, Hertz heard);
    bool lost_readings(const listening::Hearing& hearing) const;
    bool stands() const;
    bool target_known() const;

    std::optional<Expectation> expectation_;
    PipeState state_;
    Spoken spoken_;
    SteadyMean standing_;       ///< cents from A 440, so that a changed target leaves it alone
    int tone_ = -1;             ///< the tone that `standing_` is of
    Seconds read_at_{0.0};      ///< the latest reading
    Seconds reads_since_{0.0};  ///< without a gap
    bool interrupted_ = false;  ///< no reading since then
    TapWatch taps_;
};

}  // namespace rankwright::tuning
