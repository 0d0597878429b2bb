// What the name of a stop usually means: a first guess for someone to check.
#pragma once

#include "organ/footage.h"

#include <optional>
#include <string>
#include <vector>

namespace rankwright::storage {

struct UsualMake {
    const char* word;      ///< what the guess rests on; empty: nothing in the name
    const char* kind;      ///< as in the file
    const char* tuned_by;  ///< as in the file; empty: the kind's own (reeds)
};
/// By the first word known in the name; an open rank with sleeves where there is none.
UsualMake usual_make(const std::string& name);

/// A mixture's rows from a key up, as in the file: "19.22.26".
struct UsualRows {
    const char* from;
    std::string rows;
};
/// The breaks of "Mixture IV", "Sesquialtera II", "Cornet V"; empty for a single rank.
std::vector<UsualRows> usual_rows(const std::string& name);

/// The feet at the end of a name, also without a foot mark.
std::optional<organ::Footage> feet_at_end(const std::string& name);

/// Whether a name has `word` in it, in small letters, whatever the name's case.
bool says(const std::string& name, const char* word);

}  // namespace rankwright::storage
