// The temperaments that come with the program, each by the tempering of its fifths.
#include "organ/temperament.h"

namespace rankwright::organ {

namespace {

// In parts of a comma, from C–G round to F–C, narrow negative.
using Parts = std::array<double, 12>;

Fifths parts_of(Cents comma, const Parts& parts) {
    Fifths fifths;
    for (std::size_t i = 0; i < fifths.size(); ++i)
        fifths[i] = comma * parts[i];
    return fifths;
}

// Eleven fifths narrow by `part` of the syntonic comma; the wolf stands between G♯ and E♭.
Fifths meantone(double part) {
    Fifths fifths;
    fifths.fill(kSyntonicComma * -part);
    fifths[8] = kSyntonicComma * (11.0 * part) - kPythagoreanComma;
    return fifths;
}

// Some fifths narrow by parts of the syntonic comma; F♯–C♯ takes what is missing: the schisma.
Fifths with_schisma(const Parts& parts) {
    Fifths fifths = parts_of(kSyntonicComma, parts);
    fifths[6] = kSyntonicComma - kPythagoreanComma;
    return fifths;
}

std::vector<BuiltInTemperament> list() {
    const Cents pc = kPythagoreanComma;
    constexpr double k4 = -1.0 / 4, k5 = -1.0 / 5, k6 = -1.0 / 6, k12 = -1.0 / 12;
    Fifths pythagorean{};
    pythagorean[8] = -pc;
    return {
        {"equal", "twelve fifths alike, each 1/12 Pythagorean comma narrow",
         parts_of(pc, {k12, k12, k12, k12, k12, k12, k12, k12, k12, k12, k12, k12})},
        {"Pythagorean", "eleven pure fifths from E♭ to G♯", pythagorean},
        {"quarter-comma meantone", "Aaron 1523; major thirds pure, wolf G♯–E♭", meantone(0.25)},
        {"fifth-comma meantone", "fifths 1/5 syntonic comma narrow, wolf G♯–E♭", meantone(0.2)},
        {"sixth-comma meantone", "fifths 1/6 syntonic comma narrow, wolf G♯–E♭", meantone(1.0 / 6)},
        {"Werckmeister III", "Werckmeister 1691, read with the Pythagorean comma",
         parts_of(pc, {k4, k4, k4, 0, 0, k4, 0, 0, 0, 0, 0, 0})},
        {"Kirnberger II", "Kirnberger 1771; D–A and A–E half a syntonic comma narrow each",
         with_schisma({0, 0, -0.5, -0.5, 0, 0, 0, 0, 0, 0, 0, 0})},
        {"Kirnberger III", "Kirnberger 1779; C–G–D–A–E a quarter syntonic comma narrow each",
         with_schisma({k4, k4, k4, k4, 0, 0, 0, 0, 0, 0, 0, 0})},
        {"Vallotti", "as sold under that name: F–C–G–D–A–E–B 1/6 Pythagorean comma narrow each",
         parts_of(pc, {k6, k6, k6, k6, k6, 0, 0, 0, 0, 0, 0, k6})},
        {"Young II", "Young 1800; C–G–D–A–E–B–F♯ 1/6 Pythagorean comma narrow each",
         parts_of(pc, {k6, k6, k6, k6, k6, k6, 0, 0, 0, 0, 0, 0})},
        {"Kellner", "Kellner 1975; five fifths 1/5 Pythagorean comma narrow",
         parts_of(pc, {k5, k5, k5, k5, 0, k5, 0, 0, 0, 0, 0, 0})},
        {"Neidhardt 1724 Grosse Stadt", "Neidhardt, Sectio canonis harmonici, 1724, for a big city",
         parts_of(pc, {k6, k6, k6, k12, 0, k12, k12, k12, 0, k12, k12, 0})},
        {"Neidhardt 1732 Dorf",
         "Neidhardt, Gäntzlich erschöpfte mathematische Abtheilungen, 1732, for a village",
         parts_of(pc, {k12, k6, k4, k4, 0, k12, 0, k12, 0, 0, k12, 0})},
    };
}

}  // namespace

const std::vector<BuiltInTemperament>& built_in_temperaments() {
    static const std::vector<BuiltInTemperament> known = list();
    return known;
}

}  // namespace rankwright::organ
