#include "organ/footage.h"

#include "organ/taking.h"

#include <array>
#include <cmath>
#include <numeric>
#include <utility>

namespace rankwright::organ {

namespace {

void skip_spaces(std::string_view& text) {
    while (text.starts_with(' '))
        text.remove_prefix(1);
}

// A whole number below 1000 without a sign at the front of `text`, removed.
std::optional<int> take_small_number(std::string_view& text) {
    std::string_view rest = text;
    const auto value = take_number(rest);
    if (!value || *value >= 1000 || text.starts_with('-')) return std::nullopt;
    text = rest;
    return value;
}

// A single character like ⅔ at the front of `text`, removed.
std::optional<Footage> take_fraction_sign(std::string_view& text) {
    constexpr std::array<std::pair<std::string_view, Footage>, 9> kSigns{{{"½", {1, 2}},
                                                                          {"⅓", {1, 3}},
                                                                          {"⅔", {2, 3}},
                                                                          {"¼", {1, 4}},
                                                                          {"⅕", {1, 5}},
                                                                          {"⅖", {2, 5}},
                                                                          {"⅗", {3, 5}},
                                                                          {"⅘", {4, 5}},
                                                                          {"⅛", {1, 8}}}};
    for (const auto& [sign, value] : kSigns)
        if (take(text, sign)) return value;
    return std::nullopt;
}

void skip_foot_mark(std::string_view& text) {
    skip_spaces(text);
    if (!take(text, "′") && !take(text, "'") && !take(text, "’")) take(text, "ft");
    skip_spaces(text);
}

Footage reduced(int numerator, int denominator) {
    const int common = std::gcd(numerator, denominator);
    return {numerator / common, denominator / common};
}

// What follows the whole feet: "2/3", "⅔" or nothing.
std::optional<Footage> take_rest(std::string_view& text) {
    if (const auto sign = take_fraction_sign(text)) return sign;
    const auto numerator = take_small_number(text);
    if (!numerator) return Footage{0, 1};
    if (!take(text, "/")) return std::nullopt;
    const auto denominator = take_small_number(text);
    if (!denominator || *denominator == 0) return std::nullopt;
    return Footage{*numerator, *denominator};
}

}  // namespace

int Footage::semitones() const { return static_cast<int>(std::lround(12.0 * std::log2(ratio()))); }

bool Footage::octave_sounding() const {
    const auto power_of_two = [](int n) { return (n & (n - 1)) == 0; };
    return power_of_two(numerator) && power_of_two(denominator);
}

std::optional<Footage> parse_footage(std::string_view text) {
    skip_spaces(text);
    int whole = 0;
    Footage rest{0, 1};
    if (const auto sign = take_fraction_sign(text)) {
        rest = *sign;
    } else {
        const auto first = take_small_number(text);
        if (!first) return std::nullopt;
        if (take(text, "/")) {
            const auto denominator = take_small_number(text);
            if (!denominator || *denominator == 0) return std::nullopt;
            rest = {*first, *denominator};
        } else {
            whole = *first;
            const bool parted = text.starts_with(' ') || text.starts_with('-');
            if (parted) text.remove_prefix(1);
            skip_spaces(text);
            const auto fraction = take_rest(text);
            if (!fraction) return std::nullopt;
            rest = *fraction;
        }
    }
    skip_foot_mark(text);
    const int numerator = whole * rest.denominator + rest.numerator;
    if (!text.empty() || numerator * 16 < rest.denominator || numerator > 64 * rest.denominator)
        return std::nullopt;
    return reduced(numerator, rest.denominator);
}

std::string to_string(const Footage& footage) {
    const int whole = footage.numerator / footage.denominator;
    const int rest = footage.numerator % footage.denominator;
    const std::string fraction = std::to_string(rest) + "/" + std::to_string(footage.denominator);
    if (rest == 0) return std::to_string(whole);
    return whole == 0 ? fraction : std::to_string(whole) + " " + fraction;
}

std::optional<Footage> footage_of_interval(int interval) {
    // The harmonic of the 8′ line that each step of the scale stands for; 8 / harmonic feet.
    constexpr std::array<std::pair<int, Footage>, 20> kIntervals{
        {{1, {1, 1}},   {3, {5, 4}},   {5, {3, 2}},   {7, {7, 4}},   {8, {2, 1}},
         {10, {5, 2}},  {12, {3, 1}},  {14, {7, 2}},  {15, {4, 1}},  {16, {9, 2}},
         {17, {5, 1}},  {19, {6, 1}},  {21, {7, 1}},  {22, {8, 1}},  {23, {9, 1}},
         {24, {10, 1}}, {26, {12, 1}}, {29, {16, 1}}, {33, {24, 1}}, {36, {32, 1}}}};
    for (const auto& [steps, harmonic] : kIntervals)
        if (steps == interval) return reduced(8 * harmonic.denominator, harmonic.numerator);
    return std::nullopt;
}

}  // namespace rankwright::organ
