// For messages about a word that isn't known: which known one was probably meant.
#pragma once

#include <optional>
#include <span>
#include <string>
#include <string_view>

namespace rankwright {

/// The known word with the fewest slips of the pen (a letter too many, missing, wrong, or two
/// swapped; case doesn't count), or none when the best differs in more than a third of its letters
/// (at least one slip is always allowed). Ties go to the earlier word. [any]
std::optional<std::string> nearest_word(std::string_view word, std::span<const std::string> known);

/// The number of such slips between two words.
std::size_t slips_between(std::string_view a, std::string_view b);

}  // namespace rankwright
