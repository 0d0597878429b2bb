// Where a sound stands, by its power from hop to hop.
#pragma once

#include "core/units.h"

#include <cstddef>
#include <span>
#include <vector>

namespace rankwright::listening {

/// How long a hop is.
inline constexpr Seconds kHeldHop{0.05};
/// A pipe's speech, and the room's build-up. Common practice, no source.
inline constexpr Seconds kHeldSpeech{0.3};
/// What stands 3 dB softer already was let go before that. Common practice, no source.
inline constexpr Seconds kHeldEnd{0.2};

/// The longest stretch that is held.
struct HeldHops {
    std::size_t first = 0, end = 0;     ///< hops
    bool begins = false, ends = false;  ///< something softer comes before, after it
    /// Without speech and dying away, from the first sample. May be empty or negative.
    Seconds from() const {
        return begins ? static_cast<double>(first) * kHeldHop + kHeldSpeech : Seconds{0.0};
    }
    /// Of a sound of `all`.
    Seconds to(Seconds all) const {
        return ends ? static_cast<double>(end) * kHeldHop - kHeldEnd : all;
    }
};

/// Whether a sound sets in with the first samples (one channel), too near to them for a softer hop
/// to come before: they are softer than what follows. A tone in whose midst the recording begins is
/// so only where it is lower than some 60 Hz and happens to pass through nought there.
bool begins_with_key(std::span<const float> samples, SampleRate rate);

/// `power`, of each hop; dips of at most `longest_dip` (pipes that beat) are bridged;
/// `begins_with_key`: of the samples. Requires a hop.
HeldHops held_hops(const std::vector<double>& power, Seconds longest_dip, bool begins_with_key);

}  // namespace rankwright::listening
