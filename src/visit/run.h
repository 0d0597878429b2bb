// The run through one stop: which pipe is next, and what was found at each.
#pragma once

#include "organ/instrument.h"
#include "organ/target.h"
#include "tuning/single_pipe.h"

#include <cstddef>
#include <optional>
#include <vector>

namespace rankwright::visit {

/// What is known of one pipe of the run.
struct PipeOutcome {
    std::optional<Cents> first;  ///< the first steady reading, before it was touched
    std::optional<Cents> last;   ///< the latest steady reading
    bool settled = false;        ///< it stood inside its tolerance when it was left
};

/// Goes through a stop in the order in which its pipes stand, and gives tuning its expectations.
/// Belongs to the listening thread. The instrument must outlive it.
class Run {
  public:
    /// `stop` must have pipes.
    Run(const organ::Instrument& instrument, organ::StopRef stop, organ::Day day);

    const std::vector<organ::Pipe>& pipes() const { return pipes_; }  ///< in walking order
    const std::vector<PipeOutcome>& outcomes() const { return outcomes_; }
    std::size_t current() const { return current_; }
    const organ::Pipe& pipe() const { return pipes_[current_]; }
    const organ::Day& day() const { return day_; }
    organ::StopRef stop() const { return stop_; }
    const organ::Instrument& instrument() const { return instrument_; }
    /// Where the other chest side begins in `pipes`; 0 = no sides.
    std::size_t other_side() const { return other_side_; }
    std::size_t settled_count() const;

    /// Moves on or back; at either end it stays, and says false.
    bool next();
    bool back();
    /// Goes to a key; false when the stop has no pipe there.
    bool go_to(int key);

    void set_temperature(Celsius air);
    /// A of today as typed; empty: as last measured, or carried from the organ's own pitch by the
    /// thermometer.
    void set_pitch(std::optional<Hertz> a);
    /// Takes the pipe now sounding as right: A of today is what makes its deviation nought.
    void take_pitch_of_day(Cents deviation);

    tuning::Expectation expectation() const;

    /// Notes how the current pipe stands; when it is settled and the next pipe's key sounds, moves
    /// on. True when it moved.
    bool follow(const tuning::PipeState& state);

  private:
    const organ::Instrument& instrument_;
    organ::StopRef stop_;
    organ::Day day_;
    std::optional<Hertz> measured_;  ///< A of today
    std::vector<organ::Pipe> pipes_;
    std::vector<PipeOutcome> outcomes_;
    std::size_t other_side_ = 0;
    std::size_t current_ = 0;
};

}  // namespace rankwright::visit
