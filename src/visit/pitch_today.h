// Today's A as the work itself tells it: from the references heard on the way, and followed from
// them as the organ warms or cools.
#pragma once

#include "organ/pitch_of_day.h"

#include <optional>
#include <vector>

namespace rankwright::visit {

/// Belongs to the listening thread. The instrument must outlive it.
class PitchToday {
  public:
    PitchToday(const organ::Instrument& instrument, std::optional<Hertz> given)
        : instrument_(instrument), given_(given) {}

    /// Typed, or taken from one pipe: it stands, but for the drift from now on. Empty: as measured.
    void give(std::optional<Hertz> a);
    bool is_given() const { return given_.has_value(); }
    /// Pipes were tuned to it: it stands from now on as a given one does, but if nobody had told or
    /// measured it, that isn't so now.
    void hold(Hertz a);
    /// There is an A, and it was told or measured.
    bool is_told() const { return a().has_value() && !only_held_; }
    /// A reference reads so at a time of the stream, again and again while its pipe is worked at.
    /// Readings less sure than a cent tell nothing, and reeds don't go with the air.
    void heard(Seconds at, const organ::ReferenceReading& reference, const organ::Day& air);
    /// The work goes on to another pipe: a reference heard after this is heard anew.
    void left();

    /// The pipe was moved by hand: what it was heard at as a reference tells nothing any more.
    void moved(const PipeId& pipe);

    /// Empty while nothing is given and fewer than three references agree on it to a cent.
    std::optional<Hertz> a() const;
    /// How far the references have gone since they were first heard, or since an A was given.
    Cents drift() const;
    /// What the thermometer makes of it; empty without an A.
    std::optional<organ::PitchOfDay> explained(const organ::Day& air) const;

  private:
    const organ::Instrument& instrument_;
    std::optional<Hertz> given_;
    std::optional<Hertz> measured_;
    bool only_held_ = false;
    Cents drift_when_given_{0.0};
    std::vector<organ::ReferenceReading> first_;  ///< as each was first heard, less the drift then
    std::vector<bool> done_;                      ///< of each: that first visit is over
    std::optional<organ::ReferenceReading> latest_;
    Seconds now_{0.0};
    organ::DriftFollower follower_;
};

}  // namespace rankwright::visit
