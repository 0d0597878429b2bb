// How much each partial of a pipe counts in its mean pitch. Beside another pipe some partials are
// told badly, and a recorded pipe's partials don't quite agree: what one can't tell the others do,
// as far as they agree.
#pragma once

#include <span>
#include <vector>

namespace rankwright::listening {

/// What one partial says of the pitch.
struct PartialSlope {
    int number = 1;
    double hz = 0.0;        ///< of the fundamental, by this partial
    double variance = 0.0;  ///< of that, Hz²
    double weight = 0.0;    ///< in the mean that is asked for; all of them sum to 1
};

struct PartialShares {
    std::vector<double> shares;  ///< of each partial; they sum to 1
    double mean_hz = 0.0;
    double lent = 0.0;       ///< variance (Hz²) of what others lend in place of a partial's own
    double scatter = 0.0;    ///< variance (Hz²) of the mean by how the partials differ
    double undefined = 0.0;  ///< variance (Hz²) by which other weights would give another mean
};

/// Shares with which the mean of `slopes` is nearest to the one that their weights ask for:
/// Henderson's best linear unbiased prediction (Robinson, Statistical Science 6(1), 1991), a
/// partial's deviation from what all share being the random effect. Its size is learned from the
/// slopes (EM) and, as if from two partials more, from `span_s`, the seconds heard: pipes' partials
/// stray by a few hundredths of a turn, whatever the pitch. `result` keeps its room.
void share_out(std::span<const PartialSlope> slopes, double span_s, PartialShares& result);

}  // namespace rankwright::listening
