#include "storage/mixture_rows.h"

#include <charconv>

namespace rankwright::storage {

namespace {

using organ::Footage;

std::string_view trimmed(std::string_view text) {
    while (text.starts_with(' '))
        text.remove_prefix(1);
    while (text.ends_with(' '))
        text.remove_suffix(1);
    return text;
}

std::vector<std::string_view> split(std::string_view text, char at) {
    std::vector<std::string_view> parts;
    for (;;) {
        const auto end = text.find(at);
        parts.push_back(trimmed(text.substr(0, end)));
        if (end == std::string_view::npos) return parts;
        text.remove_prefix(end + 1);
    }
}

std::optional<Footage> interval_row(std::string_view text) {
    int interval = 0;
    const auto end = text.data() + text.size();
    const auto [rest, code] = std::from_chars(text.data(), end, interval);
    if (code != std::errc{} || rest != end) return std::nullopt;
    return organ::footage_of_interval(interval);
}

// Rows are harmonics of the 32′ line at the deepest: 40′ or 12′ is no pitch of a row.
std::optional<Footage> footage_row(std::string_view text) {
    const auto row = organ::parse_footage(text);
    return row && 32 * row->denominator % row->numerator == 0 ? row : std::nullopt;
}

// Notes the first part that is no row. A lone number that is none in feet is an interval; so is one
// with a point after it.
std::vector<Footage> rows_in(std::string_view text, TableReader& range, const toml::node& node) {
    const bool intervals = text.find('.') != std::string_view::npos;
    if (intervals && text.ends_with('.')) text.remove_suffix(1);
    const auto parts = split(text, intervals ? '.' : ',');
    std::vector<Footage> rows;
    for (const std::string_view part : parts) {
        auto row = intervals ? interval_row(part) : footage_row(part);
        if (!row && parts.size() == 1) row = interval_row(part);
        if (row) {
            rows.push_back(*row);
            continue;
        }
        range.wrong(
            node, "rows",
            text_of({"rows from the lowest up, as \"15.19.22\" or as feet, \"2, 1 1/3, 1\"; "
                     "no row is called \"",
                     part, "\""}));
        return {};
    }
    return rows;
}

std::vector<Footage> rows_in(const toml::array& list, TableReader& range) {
    std::vector<Footage> rows;
    bool sound = !list.empty();
    if (list.empty()) range.wrong(list, "rows", "at least one row");
    for (const toml::node& node : list) {
        const auto row = footage_of(node);
        if (!row) range.wrong(node, "rows", kFeetExpected);
        sound = sound && row.has_value();
        rows.push_back(row.value_or(Footage{}));
    }
    return sound ? rows : std::vector<Footage>{};
}

}  // namespace

std::optional<Footage> footage_of(const toml::node& node) {
    if (const auto* whole = node.as_integer())
        return organ::parse_footage(std::to_string(whole->get()));
    if (const auto* text = node.as_string()) return organ::parse_footage(text->get());
    return std::nullopt;
}

std::vector<Footage> read_rows(TableReader& range) {
    constexpr const char* kExpected =
        "rows from the lowest up, as \"15.19.22\" or as feet: \"2, 1 1/3, 1\"";
    const toml::node* node = range.need("rows", kExpected);
    if (node == nullptr) return {};
    std::vector<Footage> rows;
    if (const auto* text = node->as_string())
        rows = rows_in(text->get(), range, *node);
    else if (const auto* list = node->as_array())
        rows = rows_in(*list, range);
    else
        range.wrong(*node, "rows", kExpected);
    for (std::size_t i = 1; i < rows.size(); ++i) {
        if (rows[i].ratio() >= rows[i - 1].ratio()) continue;
        range.wrong(*node, "rows",
                    text_of({"rows from the lowest up: ", to_string(rows[i]), "′ before ",
                             to_string(rows[i - 1]), "′"}));
        return {};
    }
    return rows;
}

}  // namespace rankwright::storage
