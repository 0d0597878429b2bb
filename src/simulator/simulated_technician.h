// A technician who sees the screen and nothing else, and works a pipe into tune by it.
#pragma once

#include "core/units.h"
#include "organ/movement.h"
#include "organ/pipe.h"
#include "simulator/random.h"

#include <cstdint>
#include <map>
#include <optional>
#include <string>

namespace rankwright::simulator {

/// What can be read from the ladder.
struct Screen {
    bool shows_figure = false;
    double cents = 0.0;                   ///< as shown; positive = sharp
    organ::Way way = organ::Way::none;    ///< the way to move that the screen gives
    std::optional<Millimetres> at_least;  ///< the amount that the screen gives, if any
    std::optional<Millimetres> at_most;
    bool settled = false;  ///< the screen says the figure stands
    bool kept = false;     ///< the screen says the pipe is kept
};

/// What the technician does after a look.
struct Deed {
    enum class Kind {
        wait,  ///< hands off, watch
        move,  ///< move the device by `up`
        next   ///< call "next"
    };
    Kind kind = Kind::wait;
    Millimetres up{0.0};  ///< as Chamber::move_device counts
};

/// Reacts in human time, moves with an imprecise hand, learns what a tap does to this pipe.
class SimulatedTechnician {
  public:
    struct Parameters {
        std::uint64_t seed = 1;
        Seconds reaction{0.5};     ///< from seeing to doing, give or take a quarter
        double clumsiness = 0.12;  ///< standard deviation of a movement, as a share of it
        Cents good_enough{0.5};    ///< nearer than that: left alone
        Seconds patience{12.0};    ///< with a figure that doesn't settle, or a pipe that isn't kept
        int most_moves = 25;       ///< then the pipe is left open
    };
    explicit SimulatedTechnician(const Parameters& parameters);

    /// Turns to the next pipe, whose tuning device can be seen. What a movement did at a pipe is
    /// remembered when it is turned to again; `pipe` is any lasting name.
    void turn_to(const std::string& pipe, organ::TuningDevice device, Seconds now);
    /// A look at the screen, as often as you like. Never backwards in time.
    Deed look(const Screen& screen, Seconds now);

    int moves() const { return moves_; }  ///< of the present pipe

  private:
    Seconds human(Seconds about);
    void learn(double cents);
    double wanted_mm(const Screen& screen) const;
    Deed move(const Screen& screen, Seconds now);
    Deed call_next(Seconds now);

    Parameters parameters_;
    Random random_;
    organ::TuningDevice device_ = organ::TuningDevice::none;
    Seconds ready_{0.0};                  ///< busy, or thinking, until then
    Seconds since_{0.0};                  ///< began to wait for what the screen doesn't yet say
    bool seen_ = false;                   ///< the present figure has been taken in; deciding
    std::optional<double> cents_before_;  ///< the last movement
    double moved_mm_ = 0.0;
    std::optional<double> cents_per_mm_;  ///< learned on this pipe
    std::string pipe_;
    std::map<std::string, double> remembered_;  ///< the same, of the pipes before
    int moves_ = 0;
};

}  // namespace rankwright::simulator
