// From a phase heard now and then to the pitch now: how fast the pitch wanders is found on the way.
#pragma once

#include "core/units.h"

#include <array>
#include <cstddef>

namespace rankwright::listening {

/// Follows one tone's phase with a bank of two-state Kalman filters (phase, frequency; the
/// frequency a random walk) that differ in how fast the pitch may wander and how noisy the phases
/// are. The filters mix as in Blom & Bar-Shalom, IEEE Trans. Automat. Contr. 33, 1988, p. 780, so
/// that a standing pitch is averaged over ever longer and a moving one followed within a few
/// phases. The uncertainty is that of the pitch now, over all filters by their weight.
class PitchTracker {
  public:
    /// Starts near `pitch` (sd in cents). Phases are given against the same `pitch` turning.
    void begin(Hertz pitch, Cents sd);

    /// Time passes without a phase.
    void advance(Seconds by);

    /// The fundamental's phase now, cycles against the pitch given to begin(), with its variance in
    /// cycles². The first one, and the first after lose_phase(), only fixes the phase's origin.
    void observe(double cycles, double variance);

    /// The next phase has no relation to the ones before. `hops_to`: the pitch may have jumped by
    /// about this much meanwhile; only the filters for moving pipes allow for it.
    void lose_phase(Cents may_have_jumped);

    /// From now on phases are given against `pitch` turning; the next one has a new origin.
    void rebase(Hertz pitch);

    Hertz pitch() const;
    /// Root of the mixture's variance: quick, but stretched by unlikely filters.
    Hertz spread() const;
    /// Standard uncertainty of the pitch `later` than the last phase.
    Hertz sd(Seconds later = Seconds{0.0}) const;
    /// Cycles expected now, against the pitch given to begin().
    double expected_cycles() const { return phase_; }
    /// How unlikely the last phase was: squared, in units of what the freest filter allows.
    double surprise() const { return surprise_; }
    /// What the freest filter would make of this phase before it is observed.
    double surprise_of(double cycles, double variance) const;
    /// Seconds of sound that the present pitch effectively rests on.
    Seconds memory() const;

  private:
    static constexpr std::size_t kWanders = 9;
    static constexpr std::size_t kNoises = 4;
    static constexpr std::size_t kFilters = kWanders * kNoises;

    struct Filter {
        double weight = 0.0;
        double phase = 0.0, offset = 0.0;  // cycles, Hz from base_
        double pp = 0.0, po = 0.0, oo = 0.0;
    };

    void mix(double dt);
    void summarise();

    double base_ = 0.0;  // Hz
    std::array<Filter, kFilters> filters_{};
    bool phase_known_ = false;
    double since_observed_ = 0.0;
    double phase_ = 0.0;
    double offset_ = 0.0;
    double variance_ = 0.0;
    double surprise_ = 0.0;
    double heard_ = 0.0;
    double noise_density_ = 0.0;  // of the phases, cycles² s
};

}  // namespace rankwright::listening
