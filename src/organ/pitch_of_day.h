// At which A the organ stands today, from readings of its reference rank.
#pragma once

#include "organ/target.h"

#include <optional>
#include <span>
#include <string>
#include <vector>

namespace rankwright::organ {

/// One pipe of the reference rank, heard alone.
struct ReferenceReading {
    Pipe pipe;
    Hertz heard;
    Cents uncertainty;  ///< standard deviation of the reading
};

/// What the readings, and the thermometers, say of today.
struct PitchOfDay {
    Hertz a;
    Cents uncertainty;                ///< standard deviation of A
    Cents from_home;                  ///< A above (or, negative, below) the instrument's own
    std::vector<std::size_t> astray;  ///< readings that were left out: those pipes stand off
    std::optional<Cents> expected;    ///< what the thermometer makes of from_home
    std::optional<Celsius> as_at;     ///< the temperature at which the flues would stand so
    std::string explanation;          ///< one sentence; empty without a thermometer
    bool contradicted = false;        ///< thermometer and pipes disagree: the explanation warns
};

/// A from the median of the readings' deviations from target; readings further from it than two and
/// a half times their typical spread (by the median absolute deviation, at least 0.5 cent) are left
/// out, the rest averaged. Reeds are left out always: they don't follow the air as flues do. Empty
/// when no flue reading is left. Of `day` only the air beside the reference rank counts.
std::optional<PitchOfDay> pitch_of_day(const Instrument& instrument,
                                       std::span<const ReferenceReading> readings, const Day& day);

/// The same of an A that was typed or taken from one pipe.
PitchOfDay pitch_as_given(const Instrument& instrument, Hertz a, const Day& day);

/// One sentence for each division whose thermometer is more than a kelvin from that of the
/// reference: its pipes are compensated, or wait.
std::vector<std::string> thermometer_warnings(const Instrument& instrument, const Day& day);

/// Follows the day's pitch while the work goes on, from the reference pipes heard again and again.
/// What a pipe itself stands off doesn't matter: only its change since it was first heard counts.
class DriftFollower {
  public:
    /// A reference pipe was heard `from_target` off its target at the day's first pitch, with that
    /// standard uncertainty.
    void heard(Seconds at, const PipeId& pipe, Cents from_target, Cents uncertainty);
    /// The pipe was moved, or is another one now: what it changed by tells nothing.
    void forget(const PipeId& pipe);
    /// How far the reference has gone since the first hearings: the median over the pipes heard in
    /// the 15 minutes before the newest change, at least the last two of them, each by the middle
    /// of its last three changes (of two, pipes or changes, the lesser one). 0 while every pipe was
    /// heard once, and where it is no more than pipes wander and hearings are unsure (2.5 standard
    /// errors of those that agree). More than a kelvin makes (3 cents) is believed when two pipes
    /// tell it.
    Cents drift() const;

  private:
    struct First {
        PipeId pipe;
        Cents from_target;
        Cents uncertainty;
    };
    struct Change {
        Seconds at;
        PipeId pipe;
        Cents change;
        Cents uncertainty;  ///< of both hearings
    };
    std::vector<First> first_;
    std::vector<Change> changes_;
};

}  // namespace rankwright::organ
