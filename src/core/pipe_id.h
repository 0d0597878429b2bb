// The lasting name of a pipe.
#pragma once

#include <compare>
#include <optional>
#include <string>
#include <string_view>

namespace rankwright {

/// A pipe is division / stop / row / key. The words are slugs (lower case, digits, hyphens) that
/// the instrument file may pin, so that readings survive a stop's renaming; `row` counts a
/// mixture's rows from 1 (1 for a single rank); `key` counts keys from 1 at the lowest.
struct PipeId {
    std::string division;
    std::string stop;
    int row = 1;
    int key = 1;

    friend auto operator<=>(const PipeId&, const PipeId&) = default;
    friend bool operator==(const PipeId&, const PipeId&) = default;
};

/// A stop by the words of its pipes' ids.
struct StopId {
    std::string division;
    std::string stop;

    friend auto operator<=>(const StopId&, const StopId&) = default;
    friend bool operator==(const StopId&, const StopId&) = default;
};

/// "great/principal-8/1/25".
std::string to_string(const PipeId& id);
/// Empty when `text` isn't four parts with whole numbers from 1 at the end.
std::optional<PipeId> parse_pipe_id(std::string_view text);
/// "Chimney Flute 8′" → "chimney-flute-8". Never empty: text without letters or digits gives "x".
std::string slug(std::string_view text);

}  // namespace rankwright
