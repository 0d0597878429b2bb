// Which of a pipe's readings are kept: as it was found, and as it was left.
#pragma once

#include "tuning/stage.h"
#include "visit/book_entry.h"

#include <optional>
#include <vector>

namespace rankwright::visit {

/// Watches the work on one pipe. Belongs to the listening thread.
class Keeper {
  public:
    /// Another pipe; of one that was worked at before, how it was found is known.
    void turn_to(bool before_known);
    /// What the screen shows now (empty without an honest figure), and what of it is to be kept:
    /// - as *before*, once it has stood for a second, or when it is first moved: then as last seen;
    /// - as *after*, when it settles; anew when it settles after having been moved again.
    std::optional<KeptReading> hear(tuning::Stage stage, const std::optional<KeptReading>& figure);
    /// The work goes on to another pipe. What is still to be kept of this one: as *before* what
    /// stood only shortly; as *after* where it was left, if it was moved but didn't settle, or if
    /// it is better known by now than when it was kept.
    std::vector<KeptReading> leave();

    bool heard() const { return latest_.has_value(); }
    /// It was moved.
    bool touched() const { return touched_; }
    bool moving() const { return moving_; }
    /// How often: a hand's touches, as far as they could be heard one from the other.
    int touches() const { return touches_; }

  private:
    bool moved(tuning::Stage stage, const std::optional<KeptReading>& figure) const;

    bool before_known_ = false;
    bool touched_ = false;
    bool moving_ = false;
    int touches_ = 0;
    std::optional<KeptReading> untouched_;  ///< as last seen before it was moved
    std::optional<KeptReading> latest_;
    std::optional<KeptReading> after_;  ///< as kept
};

}  // namespace rankwright::visit
