#include "core/pipe_id.h"

#include <array>
#include <cctype>
#include <charconv>

namespace rankwright {

std::string to_string(const PipeId& id) {
    return id.division + "/" + id.stop + "/" + std::to_string(id.row) + "/" +
           std::to_string(id.key);
}

std::optional<PipeId> parse_pipe_id(std::string_view text) {
    std::array<std::string_view, 4> parts;
    for (std::size_t i = 0; i < parts.size(); ++i) {
        const auto slash = text.find('/');
        if ((slash == std::string_view::npos) != (i + 1 == parts.size())) return std::nullopt;
        parts[i] = text.substr(0, slash);
        if (parts[i].empty()) return std::nullopt;
        text.remove_prefix(slash == std::string_view::npos ? text.size() : slash + 1);
    }
    PipeId id{std::string(parts[0]), std::string(parts[1])};
    const auto number = [](std::string_view digits, int& out) {
        const auto end = digits.data() + digits.size();
        const auto [rest, code] = std::from_chars(digits.data(), end, out);
        return code == std::errc{} && rest == end && out >= 1;
    };
    if (!number(parts[2], id.row) || !number(parts[3], id.key)) return std::nullopt;
    return id;
}

std::string slug(std::string_view text) {
    std::string out;
    for (const char c : text) {
        const auto byte = static_cast<unsigned char>(c);
        if (byte < 0x80 && std::isalnum(byte))
            out += static_cast<char>(std::tolower(byte));
        else if (byte < 0x80 && !out.empty() && out.back() != '-')
            out += '-';
        else if (byte >= 0x80 && (byte & 0xC0) != 0x80 && !out.empty() && out.back() != '-')
            out += '-';
    }
    while (!out.empty() && out.back() == '-')
        out.pop_back();
    return out.empty() ? "x" : out;
}

}  // namespace rankwright
