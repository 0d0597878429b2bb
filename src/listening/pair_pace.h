// How the beat of a pair at rest goes on: its drift.
#pragma once

#include "core/units.h"

#include <cstddef>
#include <optional>
#include <vector>

namespace rankwright::listening {

/// Keeps the beats of late, each over the last part of a second. Allocates at construction only.
class PairPace {
  public:
    PairPace() { paces_.reserve(kMost); }
    void clear() { paces_.clear(); }
    void add(Seconds at, double beat_hz);
    /// Least-squares slope over the last two seconds, hertz a second; empty before one is seen.
    std::optional<double> drift() const;

  private:
    static constexpr std::size_t kMost = 24;
    struct Pace {
        double at_s, beat;
    };
    std::vector<Pace> paces_;
};

}  // namespace rankwright::listening
