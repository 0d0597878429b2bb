// Where a reference stands, from all its soundings since it was moved last.
#pragma once

#include "core/units.h"

#include <array>
#include <cstddef>
#include <optional>

namespace rankwright::tuning {

/// Nobody moves a reference while another pipe is tuned from it: each time its key goes down it is
/// heard anew, wandering and often shortly, and all these soundings together say where it stands.
/// Belongs to the listening thread.
class ReferencePitch {
  public:
    void forget() { count_ = 0; }
    /// Read while alone, in that sounding (listening::PairHearing::tone), so surely by itself; the
    /// newest of a sounding counts for it.
    void hear(int sounding, Hertz pitch, Cents uncertainty);
    /// What was read in that sounding wasn't the reference alone.
    void withdraw(int sounding);
    bool heard_in(int sounding) const {
        return count_ != 0 && soundings_[count_ - 1].number == sounding;
    }
    /// Those of another time come before its own.
    void after(const ReferencePitch& earlier);

    /// The soundings' mean, each weighed by its own uncertainty and a mean second's wander; empty
    /// before the first.
    std::optional<Hertz> pitch() const;
    /// Standard, of that; larger where they contradict each other.
    std::optional<Cents> uncertainty() const;

  private:
    struct Sounding {
        int number = 0;
        Hertz pitch;
        Cents uncertainty{0.0};  ///< wander included
    };
    void add(const Sounding& heard);

    static constexpr std::size_t kMost = 8;
    std::array<Sounding, kMost> soundings_{};  ///< the latest ones, in order
    std::size_t count_ = 0;
};

}  // namespace rankwright::tuning
