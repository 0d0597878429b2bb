// The mean of a pipe's wandering pitch over the last seconds: what is worth tuning to.
#pragma once

#include "core/units.h"

#include <array>
#include <cstddef>
#include <optional>

namespace rankwright::tuning {

/// What is left of a standard uncertainty without a part of it that is independent of the rest;
/// nought where that part is larger.
Cents without(Cents uncertainty, Cents shared);

/// A standing pipe's pitch wanders by more than one reading's uncertainty, most in the bass. This
/// gathers the readings since the pipe was last moved, at most `kLongest`, in short batches whose
/// scatter tells how well the mean is known and whether there is a drift in it. Batch means:
/// R. W. Conway, Management Science 10 (1963), p. 47.
class SteadyMean {
  public:
    static constexpr Seconds kBatch{0.4};
    static constexpr Seconds kLongest{6.0};

    void restart();
    /// A reading `at` a time of the stream (never backwards) with its own uncertainty. When the
    /// pitch has stepped away from what was gathered, begins anew from there: at once after a large
    /// step, within a second or two after one that only the batches show. `shared`: the part of the
    /// uncertainty that this reading has in common with the others; their mean has it too.
    void add(Seconds at, Cents reading, Cents uncertainty, Cents shared = Cents{0.0});

    std::optional<Cents> mean() const;         ///< empty before the first reading
    std::optional<Cents> uncertainty() const;  ///< standard, of the mean
    Seconds span() const;                      ///< from the first reading gathered to the last
    /// Where the pipe stands now, counted: one more whenever this began anew.
    int stands() const { return stands_; }

    /// Cents a second by a straight line through the batches, and its standard uncertainty; empty
    /// for fewer than four batches.
    struct Drift {
        double cents_a_second = 0.0;
        double sd = 0.0;
    };
    std::optional<Drift> drift() const;

  private:
    struct Batch {
        double began_s = 0.0;
        double sum = 0.0;
        double sum_own_sd = 0.0;  // but for what it shares
        double sum_shared_sd = 0.0;
        int count = 0;
        double mean() const { return sum / count; }
        double own_sd() const { return sum_own_sd / count; }
        double shared_sd() const { return sum_shared_sd / count; }
    };
    static constexpr std::size_t kMost = 16;  // of kBatch in kLongest, one in the making

    struct Line {
        double slope = 0.0;  ///< cents a second
        double left = 0.0;   ///< sum of squares about it
        double tt = 0.0;     ///< sum of squares of the times about their mean
    };
    Line line() const;
    bool stepped_away(double reading, double sd) const;
    void forget_before_step();
    double scatter() const;

    std::array<Batch, kMost> batches_{};
    std::size_t count_ = 0;
    double last_s_ = 0.0;
    int stands_ = 0;
    int away_ = 0;  ///< readings in a row that stand elsewhere
    double away_since_s_ = 0.0;
};

}  // namespace rankwright::tuning
