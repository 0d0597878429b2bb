// Columns of text on a terminal.
#pragma once

#include <string>
#include <string_view>

namespace rankwright::app {

/// `text` with spaces after it up to `columns` letters: "CC♯" counts as three.
inline std::string padded(std::string_view text, std::size_t columns) {
    std::size_t letters = 0;
    for (const char c : text)
        letters += (static_cast<unsigned char>(c) & 0xC0U) != 0x80U ? 1U : 0U;
    return std::string(text) + std::string(columns > letters ? columns - letters : 0, ' ');
}

}  // namespace rankwright::app
