// The technician's taps, seen as steps of the pitch: what each did tells how many more it takes.
#pragma once

#include "core/units.h"
#include "organ/learned_moves.h"
#include "organ/pipe.h"
#include "tuning/steady_mean.h"

#include <optional>
#include <string>

namespace rankwright::tuning {

/// Sees a pipe stand off its target, be moved, and stand again nearer to it or beyond. Taps that
/// follow each other without a stand between count as one; steps away from the target are a hand or
/// a body near the pipe, or the wrong way, and teach nothing. Belongs to the listening thread.
class TapWatch {
  public:
    /// The pipe now worked at. What was learned stays while rank and device do.
    void turn_to(const organ::Pipe& pipe);
    /// What is heard from now on can't be compared with what was: another target.
    void begin_anew();
    /// After each reading was added to `standing`, at a time of the stream: the pipe sounds `pitch`
    /// and lacks `needed`, 0 inside its tolerance. A stand long ago isn't compared with this one.
    void hear(const SteadyMean& standing, Seconds at, Hertz pitch, Cents needed, bool drifting);

    /// "about two taps like the last"; empty before the first was seen, and where nothing is
    /// needed.
    std::string amount(Hertz now, Cents needed) const;

  private:
    struct Stand {
        int number;
        Seconds at;  ///< when it was last heard
        Hertz pitch;
        Cents uncertainty;
        Cents needed;
    };
    void learn(const Stand& before, const Stand& after);

    organ::LearnedMoves moves_;
    std::optional<organ::Pipe> pipe_;
    std::optional<Stand> stood_;
};

}  // namespace rankwright::tuning
