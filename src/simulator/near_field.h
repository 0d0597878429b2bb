// Pipes of near pitch that stand together and draw each other through the air before their mouths.
#pragma once

#include "core/units.h"

#include <array>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace rankwright::simulator {

/// How one pipe's first partial swings. In: as it would alone; out: as it does among neighbours.
struct Swing {
    std::size_t pipe = 0;   ///< who
    double hz = 0.0;        ///< alone in, mean of the step out
    double radians = 0.0;   ///< phase as the step begins
    double force = 0.0;     ///< level of the first partial by which it drives its neighbours
    double strength = 1.0;  ///< amplitude beside that alone; renewed
};

/// Each pipe is a self-sustained oscillator that returns to its own amplitude (Van der Pol's, in
/// slowly varying amplitude and phase), and each mouth stands in the other's near field: a small
/// source at distance d gives the pressure i·exp(−ikd)/d for its flow (e.g. Morse and Ingard,
/// Theoretical Acoustics, 1968, ch. 7), which loads the other like added mass and resistance.
///
///   da/dt = i·ω·a + λ·(1 − |a|²)·a + c·b,   c = κ·exp(−i(π/2 + kd))
///
/// The delay kd is short beside any beat, hence only a phase. What follows is what is published:
/// inside the locking range one frequency, in general above both, and opposed phases, so that
/// little is heard (Angster et al., AES preprint 3534, 1993; Rayleigh 1879); just outside a slower
/// beat (Adler, Proc. IRE 34, 1946); beyond about 1 % a faster one (Angster), since then the
/// amplitudes no longer follow within a beat. λ is chosen so.
class NearField {
  public:
    /// Two pipes that stand together.
    struct Meeting {
        std::size_t first = 0;
        std::size_t second = 0;
        double hz = 0.0;        ///< near which both sound
        double delay = 0.0;     ///< kd, radians: 0.1 to 0.7
        double balance = 1.0;   ///< force of the first over the second's when both stand
        Cents half_width{0.0};  ///< of the locking range by phase alone
    };
    void join(const Meeting& meeting);
    /// Forgets all meetings of this pipe.
    void part(std::size_t pipe);

    /// The next `seconds`. Allocates nothing. Pipes without neighbours return to strength 1.
    void step(std::span<Swing> swings, double seconds) const;

    static constexpr std::size_t kMost = 64;  ///< swings at a time; the rest sound as alone

  private:
    struct Bond {
        std::size_t first, second;
        std::complex<double> pull;  ///< c, 1/s
        double balance;
    };
    struct Pull {  ///< of one swing on another in this step
        std::size_t on, by;
        std::complex<double> rate;
        double turn;  ///< rad/s by which the other's frame leads
    };
    /// The swings as they move away from their own pitch, each in a frame that turns with it.
    struct Motion {
        using State = std::array<std::complex<double>, kMost>;
        std::size_t count = 0;
        std::array<double, kMost> returns{};  ///< 2λ
        std::array<Pull, kMost> pulls{};
        std::size_t pull_count = 0;
        State at{};

        void slope(const State& from, double time_s, State& change) const;
        void advance(double from_s, double by_s);
    };
    void lay_pulls(std::span<const Swing> swings, Motion& motion) const;

    std::vector<Bond> bonds_;
};

}  // namespace rankwright::simulator
