#include "report/markup.h"

#include <cstdint>

namespace rankwright::report {

namespace {

struct Letter {
    std::uint32_t code = 0;
    std::size_t bytes = 1;
    bool good = false;
};

// The next code point (RFC 3629: no surrogates, no longer form than needed, at most U+10FFFF).
Letter first_of(std::string_view text) {
    const auto byte = [&](std::size_t i) { return static_cast<unsigned char>(text[i]); };
    const std::uint32_t lead = byte(0);
    if (lead < 0x80U) return {lead, 1, true};
    const std::size_t bytes = lead >= 0xF0U ? 4 : lead >= 0xE0U ? 3 : 2;
    if (lead < 0xC2U || lead > 0xF4U || text.size() < bytes) return {};
    std::uint32_t code = lead & (0x7FU >> bytes);
    for (std::size_t i = 1; i < bytes; ++i) {
        if ((byte(i) & 0xC0U) != 0x80U) return {};
        code = code << 6U | (byte(i) & 0x3FU);
    }
    const bool too_long = (bytes == 3 && code < 0x800U) || (bytes == 4 && code < 0x10000U);
    if (too_long || code > 0x10FFFFU || (code >= 0xD800U && code <= 0xDFFFU)) return {};
    return {code, bytes, true};
}

bool allowed(std::uint32_t code) {
    if (code < 0x20U) return code == '\t' || code == '\n' || code == '\r';
    // U+007F to U+009F are allowed in XML, but no text (and an error in HTML).
    if (code >= 0x7FU && code <= 0x9FU) return false;
    // U+FDD0 to U+FDEF and the last two of each plane are no characters.
    return (code & 0xFFFEU) != 0xFFFEU && (code < 0xFDD0U || code > 0xFDEFU);
}

}  // namespace

std::string escaped(std::string_view text) {
    std::string out;
    out.reserve(text.size());
    while (!text.empty()) {
        const Letter letter = first_of(text);
        const std::string_view bytes = text.substr(0, letter.bytes);
        text.remove_prefix(letter.bytes);
        if (!letter.good || !allowed(letter.code))
            out += "\xEF\xBF\xBD";
        else if (letter.code == '&')
            out += "&amp;";
        else if (letter.code == '<')
            out += "&lt;";
        else if (letter.code == '>')
            out += "&gt;";
        else if (letter.code == '"')
            out += "&quot;";
        else if (letter.code == '\'')
            out += "&#x27;";
        else
            out += bytes;
    }
    return out;
}

std::string name(std::string_view text) { return "<bdi>" + escaped(text) + "</bdi>"; }

}  // namespace rankwright::report
