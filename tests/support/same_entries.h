// Whether two lists of entries say the same.
#pragma once

#include "storage/book_json.h"
#include "visit/book_entry.h"

#include <algorithm>
#include <string>
#include <vector>

namespace rankwright::testing {

/// Empty when they are the same to the last digit, else the first that differ.
inline std::string difference(const std::vector<visit::BookEntry>& found,
                              const std::vector<visit::BookEntry>& expected) {
    for (std::size_t i = 0; i < std::min(found.size(), expected.size()); ++i) {
        const std::string one = storage::to_line(storage::entry_json(found[i]));
        const std::string other = storage::to_line(storage::entry_json(expected[i]));
        if (one != other) return one + " instead of " + other;
    }
    if (found.size() == expected.size()) return "";
    return std::to_string(found.size()) + " entries instead of " + std::to_string(expected.size());
}

}  // namespace rankwright::testing
