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
    bool touched() const { return touches_ > 0 || motion_ == Motion::seen; }
    /// How often: a hand's touches, as far as they could be heard one from the other.
    int touches() const { return touches_ + (motion_ == Motion::seen ? 1 : 0); }
    /// Of these, those that moved it without doubt.
    int sure_touches() const { return touches_; }
    /// It is being moved without doubt.
    bool in_motion() const { return motion_ == Motion::sure; }
    /// Where it stood when it was taken up, as well as that is known; empty before it was.
    const std::optional<KeptReading>& taken_up() const { return taken_up_; }
    /// How far from where it was found; nought until it was touched.
    Cents moved_by() const;

  private:
    enum class Motion {
        none,
        seen,  ///< as it seems: it wasn't heard elsewhere yet
        sure,  ///< it was
    };
    void touch();
    void watch_movement(tuning::Stage stage, const std::optional<KeptReading>& figure);
    void take_stand(const KeptReading& figure);

    bool before_known_ = false;
    int touches_ = 0;
    Motion motion_ = Motion::none;
    std::optional<KeptReading> stand_;     ///< where it stands, or stood when it began to move
    std::optional<KeptReading> taken_up_;  ///< the first of these
    std::optional<KeptReading> found_;     ///< as last seen before it was touched
    std::optional<KeptReading> latest_;
    std::optional<KeptReading> after_;  ///< as kept
};

}  // namespace rankwright::visit
