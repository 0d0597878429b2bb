// Reading a note, a footage or a tempering from the front of a text, piece by piece.
#pragma once

#include <charconv>
#include <optional>
#include <string_view>
#include <system_error>

namespace rankwright::organ {

/// Removes `prefix` from the front of `text`; false, and nothing removed, where it isn't there.
inline bool take(std::string_view& text, std::string_view prefix) {
    if (!text.starts_with(prefix)) return false;
    text.remove_prefix(prefix.size());
    return true;
}

/// A whole number at the front of `text`, removed; nothing where none begins there.
inline std::optional<int> take_number(std::string_view& text) {
    int value = 0;
    const auto [rest, code] = std::from_chars(text.data(), text.data() + text.size(), value);
    if (code != std::errc{}) return std::nullopt;
    text.remove_prefix(static_cast<std::size_t>(rest - text.data()));
    return value;
}

}  // namespace rankwright::organ
