// Whether a second pipe sounds with each key, at a multiple of the first one's pitch: an octave
// coupler, or another stop that was left on.
#pragma once

#include "core/units.h"
#include "tuning/tones_heard.h"

#include <optional>
#include <span>
#include <vector>

namespace rankwright::tuning {

/// What stands at every second, third or fourth partial of `tone`, beside the partials that none of
/// these is (1, 5, 7 …), in `samples` (one channel of the time that it was read in). Partials of
/// one pipe are whole multiples of one pitch; what stands apart is another pipe's. Of places where
/// no line stands clear of what is beside it nothing is said.
std::vector<EveryNth> every_nth(const HeardTone& tone, std::span<const float> samples,
                                SampleRate rate);

/// Whether it clearly is another pipe's: by four of the uncertainty, and more than a room does.
bool stands_apart(const EveryNth& nth);

/// Of a rank's tones: which multiple of each a second pipe sounds, when one clearly does
/// with two in five of them, and with six at least. Tones that are `shaken` have lines beside their
/// partials as far from these as a tremulant is fast: of what stands so far nothing is known.
std::optional<int> second_pipe(std::span<const HeardTone* const> tones, bool shaken = false);

}  // namespace rankwright::tuning
