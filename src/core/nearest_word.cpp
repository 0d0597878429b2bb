#include "core/nearest_word.h"

#include <algorithm>
#include <cctype>
#include <vector>

namespace rankwright {

namespace {

char lower(char c) { return static_cast<char>(std::tolower(static_cast<unsigned char>(c))); }

}  // namespace

// Restricted edit distance (Damerau, Comm. ACM 7(3), 1964): three rows suffice.
std::size_t slips_between(std::string_view a, std::string_view b) {
    std::vector<std::size_t> before(b.size() + 1), last(b.size() + 1), row(b.size() + 1);
    for (std::size_t j = 0; j <= b.size(); ++j)
        last[j] = j;
    for (std::size_t i = 1; i <= a.size(); ++i) {
        row[0] = i;
        for (std::size_t j = 1; j <= b.size(); ++j) {
            const bool same = lower(a[i - 1]) == lower(b[j - 1]);
            row[j] = std::min({last[j] + 1, row[j - 1] + 1, last[j - 1] + (same ? 0U : 1U)});
            if (i > 1 && j > 1 && lower(a[i - 1]) == lower(b[j - 2]) &&
                lower(a[i - 2]) == lower(b[j - 1]))
                row[j] = std::min(row[j], before[j - 2] + 1);
        }
        std::swap(before, last);
        std::swap(last, row);
    }
    return last[b.size()];
}

std::optional<std::string> nearest_word(std::string_view word, std::span<const std::string> known) {
    const std::string* best = nullptr;
    std::size_t fewest = 0;
    for (const std::string& candidate : known) {
        const std::size_t slips = slips_between(word, candidate);
        if (slips > std::max<std::size_t>(1, candidate.size() / 3)) continue;
        if (best != nullptr && slips >= fewest) continue;
        best = &candidate;
        fewest = slips;
    }
    if (best == nullptr) return std::nullopt;
    return *best;
}

}  // namespace rankwright
