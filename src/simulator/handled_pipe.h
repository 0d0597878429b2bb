// One pipe as it stands: its true pitch and what a hand has done to it.
#pragma once

#include "core/units.h"
#include "organ/pipe.h"
#include "simulator/pipe_body.h"
#include "simulator/random.h"

namespace rankwright::simulator {

/// Time is in seconds since the chamber began.
class HandledPipe {
  public:
    /// `home` is what the pipe should sound at `at`; `random` draws its error, scale and wire.
    HandledPipe(const organ::Pipe& pipe, Hertz home, Celsius at, Cents mistuning, Random random);

    const organ::Pipe& pipe() const { return pipe_; }

    /// Positive = up or out, as Chamber::move_device says. `handling` scales warmth and shade.
    void move(Millimetres up, double now_s, double handling);
    void settle();

    /// Without hand, in air of that temperature.
    Hertz pitch(Celsius air, double now_s) const;
    /// What the hand's warmth and the body before the mouth add.
    Cents hand(double now_s) const;

  private:
    double crept(double now_s) const;

    organ::Pipe pipe_;
    Hertz start_;  ///< device at 0, air at at_
    Celsius at_;
    PipeBody body_;
    Millimetres position_{0.0};
    double creep_share_;     ///< of a movement of the wire
    double crept_ = 0.0;     ///< cents, done
    double creeping_ = 0.0;  ///< cents, still to come at moved_s_
    double warms_;           ///< cents a touch
    double warmth_ = 0.0;    ///< cents at moved_s_
    double cools_s_;         ///< to 1/e
    double shades_;          ///< cents, positive, while a body is near
    double arrived_s_ = -1e9;
    double moved_s_ = -1e9;
    double shade_scale_ = 0.0;
};

}  // namespace rankwright::simulator
