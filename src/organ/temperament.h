// Where the twelve notes of the octave lie.
#pragma once

#include "core/units.h"

#include <array>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace rankwright::organ {

/// Cents from equal temperament for C, C♯ … B, with A = 0.
struct Temperament {
    std::string name = "equal";
    std::array<Cents, 12> from_equal{};
};

/// By how much twelve pure fifths exceed seven octaves: 1200 log2(531441/524288), 23.460 cents.
extern const Cents kPythagoreanComma;
/// By how much four pure fifths exceed two octaves and a pure third: 81/80, 21.506 cents.
extern const Cents kSyntonicComma;

/// A part of a comma: "-1/4 syntonic", "-1/6 pythagorean", "1/12 pythagorean", "0", "pure".
/// Empty for anything else.
std::optional<Cents> parse_tempering(std::string_view text);

/// How the fifths of a temperament are tempered, from C upward: C–G, G–D, D–A, A–E, E–B, B–F♯,
/// F♯–C♯, C♯–G♯, G♯–E♭, E♭–B♭, B♭–F, F–C. Cents from pure, narrow negative.
using Fifths = std::array<Cents, 12>;

/// By how much the twelve fifths fail to close on seven octaves; 0 for a true circle.
Cents closing_error(const Fifths& fifths);

/// The temperament whose first fifth (C–G in `fifths`) starts on pitch class `start` instead of C.
/// Requires closing_error(fifths) below 0.01 cent; the rest is spread over all fifths.
Temperament from_fifths(std::string name, const Fifths& fifths, int start = 0);

/// The temperament given by cents from equal temperament for C, C♯ … B, whatever its A.
Temperament from_offsets(std::string name, const std::array<Cents, 12>& from_equal, int start = 0);

/// The fifths of a temperament, as from_fifths takes them with start 0.
Fifths fifths_of(const Temperament& temperament);

/// A temperament that comes with the program.
struct BuiltInTemperament {
    std::string name;    ///< "Werckmeister III"
    std::string source;  ///< whose, with year and title where the name alone is doubtful
    Fifths fifths;
};
/// All of them, in the order in which they are offered.
const std::vector<BuiltInTemperament>& built_in_temperaments();
/// By name, whatever the case; start 0 = as its author gave it. Empty when unknown.
std::optional<Temperament> built_in_temperament(std::string_view name, int start = 0);

}  // namespace rankwright::organ
