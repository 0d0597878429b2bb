#include "organ/temperament.h"

#include "organ/taking.h"

#include <algorithm>
#include <cassert>
#include <cctype>
#include <cmath>
#include <numeric>

namespace rankwright::organ {

const Cents kPythagoreanComma{1200.0 * std::log2(531441.0 / 524288.0)};
const Cents kSyntonicComma{1200.0 * std::log2(81.0 / 80.0)};

namespace {

const double kPureFifth = 1200.0 * std::log2(1.5);

// Pitch class of the lower note of each fifth, going round from C.
std::size_t lower_note(std::size_t fifth) { return (7 * fifth) % 12; }

bool same_word(std::string_view a, std::string_view b) {
    return std::equal(a.begin(), a.end(), b.begin(), b.end(), [](char x, char y) {
        return std::tolower(static_cast<unsigned char>(x)) ==
               std::tolower(static_cast<unsigned char>(y));
    });
}

std::array<Cents, 12> with_a_at_zero(const std::array<double, 12>& from_equal) {
    std::array<Cents, 12> out;
    for (std::size_t i = 0; i < out.size(); ++i)
        out[i] = Cents{from_equal[i] - from_equal[9]};
    return out;
}

}  // namespace

std::optional<Cents> parse_tempering(std::string_view text) {
    if (same_word(text, "pure") || text == "0") return Cents{0.0};
    double sign = 1.0;
    if (text.starts_with('-') || text.starts_with('+')) {
        sign = text[0] == '-' ? -1.0 : 1.0;
        text.remove_prefix(1);
    } else if (text.starts_with("−")) {
        sign = -1.0;
        text.remove_prefix(std::string_view("−").size());
    }
    if (text.empty() || !std::isdigit(static_cast<unsigned char>(text[0]))) return std::nullopt;
    const std::optional<int> part = take_number(text);
    if (!part || !text.starts_with('/')) return std::nullopt;
    text.remove_prefix(1);
    const std::optional<int> whole = take_number(text);
    if (!whole || *whole <= 0 || !text.starts_with(' ')) return std::nullopt;
    text.remove_prefix(1);
    const double share = sign * *part / *whole;
    if (same_word(text, "pythagorean")) return kPythagoreanComma * share;
    if (same_word(text, "syntonic")) return kSyntonicComma * share;
    return std::nullopt;
}

Cents closing_error(const Fifths& fifths) {
    const Cents sum = std::accumulate(fifths.begin(), fifths.end(), Cents{0.0});
    return sum + kPythagoreanComma;
}

Temperament from_fifths(std::string name, const Fifths& fifths, int start) {
    const Cents each = closing_error(fifths) / 12.0;
    assert(std::abs(closing_error(fifths).value()) < 0.01);
    std::array<double, 12> from_equal{};
    double note = 0.0;
    for (std::size_t i = 0; i < fifths.size(); ++i) {
        from_equal[(lower_note(i) + static_cast<std::size_t>(start)) % 12] = note;
        note += kPureFifth - 700.0 + (fifths[i] - each).value();
    }
    return {std::move(name), with_a_at_zero(from_equal)};
}

Temperament from_offsets(std::string name, const std::array<Cents, 12>& from_equal, int start) {
    std::array<double, 12> moved{};
    for (std::size_t i = 0; i < moved.size(); ++i)
        moved[(i + static_cast<std::size_t>(start)) % 12] = from_equal[i].value();
    return {std::move(name), with_a_at_zero(moved)};
}

Fifths fifths_of(const Temperament& temperament) {
    Fifths fifths;
    for (std::size_t i = 0; i < fifths.size(); ++i) {
        const Cents size = Cents{700.0} + temperament.from_equal[lower_note(i + 1)] -
                           temperament.from_equal[lower_note(i)];
        fifths[i] = size - Cents{kPureFifth};
    }
    return fifths;
}

std::optional<Temperament> built_in_temperament(std::string_view name, int start) {
    for (const BuiltInTemperament& known : built_in_temperaments())
        if (same_word(known.name, name)) return from_fifths(known.name, known.fifths, start);
    return std::nullopt;
}

}  // namespace rankwright::organ
