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
    /// It was moved, or is being moved as it seems.
    bool touched() const { return touched_ || moving_; }
    /// How often: a hand's touches, as far as they could be heard one from the other.
    int touches() const { return touches_ + (moving_ && !moved_ ? 1 : 0); }
    /// Of these, those that moved it without doubt.
    int sure_touches() const { return touches_; }
    /// How far from where it was found; nought until it was touched.
    Cents moved_by() const;

  private:
    void touch();
    void watch_movement(tuning::Stage stage, const std::optional<KeptReading>& figure);

    bool before_known_ = false;
    bool touched_ = false;
    std::optional<KeptReading> moving_;  ///< where it stood when it began to move, as it seems
    bool moved_ = false;                 ///< and since then it was heard elsewhere
    int touches_ = 0;
    std::optional<KeptReading> untouched_;  ///< as last seen before it was moved
    std::optional<KeptReading> stood_;      ///< where it stood after that, once well known
    std::optional<KeptReading> latest_;
    std::optional<KeptReading> after_;  ///< as kept
};

}  // namespace rankwright::visit
