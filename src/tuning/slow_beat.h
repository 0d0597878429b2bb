// How slow a beat is that nobody saw turn.
#pragma once

#include "core/units.h"
#include "listening/pair/pair.h"

#include <array>
#include <cstddef>
#include <optional>

namespace rankwright::tuning {

/// One look at two pipes nearly in tune lasts some seconds, and leaves open every beat slower than
/// the turn it would have had to make. All looks since the pipe was last moved leave open only what
/// is slower than that turn in all that time: who listens longer hears a slower beat. Belongs to
/// the listening thread.
class SlowBeat {
  public:
    /// The pipe was moved, or may have been: what was heard before counts only once `resume` says
    /// that it stands where it stood.
    void restart();
    void resume();
    void forget() { before_ = {}; }  ///< it stands elsewhere
    /// A look that ended `at` a time of the stream (never backwards), rests on `heard` of sound,
    /// and knew only that the beat is slower than `look.under`, which must be set.
    void add(Seconds at, const listening::BeatReading& look, Seconds heard);
    /// The beat is slower than this, and never less than what the looks themselves say of its size.
    /// Empty while less than a second was looked at.
    std::optional<Hertz> under() const;

  private:
    struct Looks {
        static constexpr std::size_t kMost = 64;
        std::array<double, kMost> turns{};  ///< left open by each, the latest ones
        std::array<double, kMost> sizes{};  ///< beats a second, and 2 standard deviations
        std::size_t count = 0;
        double since_s = 0.0;  ///< the first one's sound began
        double last_s = 0.0;
    };
    Looks looks_, before_;
};

}  // namespace rankwright::tuning
