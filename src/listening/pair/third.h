// A third tone beside two that hardly beat: only two pipes sound, so that the two are one.
#pragma once

#include "listening/pair/bands.h"
#include "listening/pair/candidates.h"
#include "listening/pair/search.h"

#include <span>
#include <vector>

namespace rankwright::listening {

/// A pipe that wanders much passes for two tones that hardly beat, and explained so hides a pipe
/// that is much weaker. Where a tone stands clear of what a slow place leaves, at two meetings:
/// that tone and what the place took for two, either for the reference where that isn't
/// far-fetched. Otherwise empty. `bands`: as wide as beats are looked for.
std::vector<PairCandidate> third_tone(std::span<const PairBand> bands, const PairRequest& request,
                                      const PairPlace& place, double span_s);

}  // namespace rankwright::listening
