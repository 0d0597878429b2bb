// Pairs mixed from recorded single pipes (open data), the one resampled by an exactly known ratio.
#pragma once

#include "accuracy/pair_row.h"
#include "support/recordings.h"

#include <random>
#include <string>
#include <vector>

namespace rankwright::testing {

/// How the reference is known beforehand.
enum class KnownBy {
    moment_ago,  ///< to 0.05 cents
    recording,   ///< of it alone: what its whole recording says, another span than the pair's
    number,      ///< 0.3 cents off, though given to many digits
};

struct RecordedPairs {
    std::vector<std::string> ranks{"Montre8", "Trompette8"};
    std::vector<std::string> reference_ranks;  ///< empty: the same
    int reference_partial = 1;
    int pipe_partial = 1;
    int count = 20;
    KnownBy known = KnownBy::moment_ago;
    int lowest = 42;  ///< keys, MIDI
    int highest = 91;
    double slowest = 0.1;  ///< beats a second
    double fastest = 5.0;
    double level_db = 12.0;  ///< the pipe's over the reference's, at most, either way
};

/// Draws pairs of 2.4 s and hears them. True means are the phase slopes of each alone over the same
/// span, found before mixing. False when there aren't so many in the recordings.
bool judge_recorded(PairRow& row, const RecordedPairs& wanted, std::mt19937_64& random);

}  // namespace rankwright::testing
