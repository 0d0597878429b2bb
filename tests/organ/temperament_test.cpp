#include "organ/temperament.h"

#include <cmath>
#include <numeric>
#include <random>

#include <gtest/gtest.h>

namespace rankwright::organ {
namespace temperament_test {

using namespace literals;

Temperament named(const char* name) {
    const auto found = built_in_temperament(name);
    EXPECT_TRUE(found) << name;
    return found.value_or(Temperament{});
}

double from_c(const Temperament& t, std::size_t note) {
    return (t.from_equal[note] - t.from_equal[0]).value() + 100.0 * static_cast<double>(note);
}

void expect_cents_from_c(const char* name, const std::array<double, 12>& printed, double within) {
    const Temperament t = named(name);
    for (std::size_t note = 0; note < printed.size(); ++note)
        EXPECT_NEAR(from_c(t, note), printed[note], within) << name << ", note " << note;
}

// Pitches of the octave from C with A = `a`.
Hertz pitch(const Temperament& t, std::size_t note, Hertz a) {
    return transpose(a, t.from_equal[note] + Cents{100.0 * (static_cast<double>(note) - 9.0)});
}

// Hermann Smith, Modern Organ Tuning: comparative table, the octave on C 512 (A 430.540).
TEST(Temperament, EqualAgainstSmith) {
    const std::array<double, 12> smith{256.0,   271.222, 287.350, 304.436, 322.540, 341.718,
                                       362.038, 383.566, 406.375, 430.540, 456.141, 483.263};
    for (std::size_t note = 0; note < smith.size(); ++note)
        EXPECT_NEAR(pitch(named("equal"), note, 430.540_Hz).value(), smith[note], 0.004);
}

// J. C. Fischer, Piano Tuning (1907): the octave on C 512.
TEST(Temperament, EqualAgainstFischer) {
    const Hertz a = 861.08_Hz;
    EXPECT_NEAR(pitch(named("equal"), 0, a).value(), 512.0, 0.02);
    EXPECT_NEAR(pitch(named("equal"), 2, a).value(), 574.70, 0.02);
    EXPECT_NEAR(pitch(named("equal"), 4, a).value(), 645.08, 0.02);
    EXPECT_NEAR(pitch(named("equal"), 5, a).value(), 683.44, 0.02);
    EXPECT_NEAR(pitch(named("equal"), 7, a).value(), 767.13, 0.02);
    EXPECT_NEAR(pitch(named("equal"), 11, a).value(), 966.53, 0.02);
}

// Mechanical Music Digest 2001.02.23.05: Werckmeister III on A 220, the octave from C.
TEST(Temperament, WerckmeisterIIIInHertz) {
    const std::array<double, 12> printed{131.7021, 138.7479, 147.1644, 156.0914, 165.0,    175.6028,
                                         184.9972, 196.8850, 208.1219, 220.0,    234.1371, 247.5};
    for (std::size_t note = 0; note < printed.size(); ++note)
        EXPECT_NEAR(pitch(named("Werckmeister III"), note, 220_Hz).value(), printed[note], 1e-4);
}

// Tonalsoft, Encyclopedia of Microtonal Music Theory, "Werckmeister III".
TEST(Temperament, WerckmeisterIIIInCents) {
    const Temperament t = named("Werckmeister III");
    EXPECT_NEAR(from_c(t, 8), 792.180, 5e-4);
    EXPECT_NEAR(from_c(t, 1), 90.225, 5e-4);
    EXPECT_NEAR(from_c(t, 6), 588.270, 5e-4);
    EXPECT_NEAR(from_c(t, 7), 696.090, 5e-4);
}

// Quarter-comma meantone (Aaron 1523): major thirds pure (386.314), fifths 696.578, wolf 737.637
// cents; standard values. Cents from C: from memory, as printed widely.
TEST(Temperament, QuarterCommaMeantone) {
    const Temperament t = named("quarter-comma meantone");
    for (const auto& [low, high] : {std::pair(0, 4), {2, 6}, {3, 7}, {5, 9}, {7, 11}, {9, 13}}) {
        const auto cents = [&](int note) {
            return from_c(t, static_cast<std::size_t>(note % 12)) + 1200.0 * (note / 12);
        };
        EXPECT_NEAR(cents(high) - cents(low), 386.314, 5e-4) << low;
    }
    EXPECT_NEAR(from_c(t, 3) + 1200.0 - from_c(t, 8), 737.637, 5e-4);
    expect_cents_from_c("quarter-comma meantone",
                        {0, 76.049, 193.157, 310.265, 386.314, 503.422, 579.471, 696.578, 772.627,
                         889.735, 1006.843, 1082.892},
                        5e-4);
}

// J. Groenewald, Stimmungen, table T24 (after Dupont and Lange).
TEST(Temperament, KirnbergerII) {
    expect_cents_from_c("Kirnberger II", {0, 90, 204, 294, 386, 498, 590, 702, 792, 895, 996, 1088},
                        0.5);
}

// Kirnberger III: C–E pure, four fifths of 696.578; the table from memory, as printed widely.
TEST(Temperament, KirnbergerIII) {
    expect_cents_from_c("Kirnberger III",
                        {0, 90.225, 193.157, 294.135, 386.314, 498.045, 590.224, 696.578, 792.180,
                         889.735, 996.090, 1088.269},
                        1e-3);
}

// Vallotti as usually sold: six fifths F–C–G–D–A–E–B narrow by 1/6 Pythagorean comma
// (Wikipedia, "Vallotti temperament"); the table from memory, as printed widely. F–A at A 440
// beats "about 3 a second" (hpschd.nu).
TEST(Temperament, Vallotti) {
    expect_cents_from_c("Vallotti",
                        {0, 94.135, 196.090, 298.045, 392.180, 501.955, 592.180, 698.045, 796.090,
                         894.135, 1000.0, 1090.225},
                        1e-3);
    const Temperament t = named("Vallotti");
    const Hertz f = pitch(t, 5, 220_Hz), a = pitch(t, 9, 220_Hz);
    EXPECT_NEAR((a * 4.0 - f * 5.0).value(), 3.0, 0.25);
}

// Vallotti is Young II moved a fifth: Wikipedia, "Young temperament".
TEST(Temperament, YoungIIIsVallottiMovedByAFifth) {
    const Fifths young = fifths_of(named("Young II"));
    const Fifths vallotti = fifths_of(named("Vallotti"));
    for (std::size_t i = 0; i < young.size(); ++i)
        EXPECT_NEAR(young[(i + 1) % 12].value(), vallotti[i].value(), 1e-9);
}

// H. A. Kellner 1975 prints fifths of 697.28 and C–E of 389.11 cents, rounded by himself.
TEST(Temperament, Kellner) {
    const Temperament t = named("Kellner");
    EXPECT_NEAR(from_c(t, 7), 697.28, 0.02);
    EXPECT_NEAR(from_c(t, 4), 389.11, 0.06);
}

// J. Groenewald, Stimmungen, table T22, after W. Dupont, Geschichte der musikalischen Temperatur
// (1935), p. 88: Neidhardt's third of 1724, "Grosse Stadt".
TEST(Temperament, Neidhardt1724GrosseStadt) {
    expect_cents_from_c("Neidhardt 1724 Grosse Stadt",
                        {0, 96, 196, 298, 394, 498, 596, 698, 796, 894, 998, 1096}, 0.5);
}

// J. Groenewald, Stimmungen, table T76, after Meister 1991, p. 124: Neidhardt's own string lengths
// of 1732, "Dorf". His F♯ is 0.17 cents off his own rule.
TEST(Temperament, Neidhardt1732DorfByStringLengths) {
    const std::array<double, 12> lengths{2000.0,  1894.15, 1783.80, 1685.59, 1596.38, 1500.0,
                                         1420.48, 1334.83, 1264.19, 1193.23, 1123.72, 1064.25};
    const Temperament t = named("Neidhardt 1732 Dorf");
    for (std::size_t note = 0; note < lengths.size(); ++note)
        EXPECT_NEAR(from_c(t, note), 1200.0 * std::log2(2000.0 / lengths[note]),
                    note == 6 ? 0.18 : 0.02)
            << note;
}

// Pythagorean: ratios of Helmholtz/Ellis, On the Sensations of Tone: 9/8, 81/64, 4/3, 3/2, 27/16,
// 243/128. Syntonic meantones: F–A a fifth-comma third is 390.615, sixth-comma 393.482 by
// construction (third = pure + 1/5 or 1/3 comma).
TEST(Temperament, PythagoreanAndOtherMeantones) {
    const Temperament p = named("Pythagorean");
    for (const auto& [note, ratio] : {std::pair(2, 9.0 / 8),
                                      {4, 81.0 / 64},
                                      {5, 4.0 / 3},
                                      {7, 3.0 / 2},
                                      {9, 27.0 / 16},
                                      {11, 243.0 / 128}})
        EXPECT_NEAR(from_c(p, static_cast<std::size_t>(note)), 1200.0 * std::log2(ratio), 1e-9);
    const double pure = 1200.0 * std::log2(1.25);
    const double comma = 1200.0 * std::log2(81.0 / 80.0);
    EXPECT_NEAR(from_c(named("fifth-comma meantone"), 4), pure + comma / 5.0, 1e-9);
    EXPECT_NEAR(from_c(named("sixth-comma meantone"), 4), pure + comma / 3.0, 1e-9);
}

// The commas: 23.46001 and 21.50629 cents (Brombaugh's 720 and 660 units).
TEST(Temperament, CommasAndTheirParts) {
    EXPECT_NEAR(kPythagoreanComma.value(), 23.46001, 1e-5);
    EXPECT_NEAR(kSyntonicComma.value(), 21.5062896, 1e-7);
    EXPECT_NEAR(parse_tempering("-1/4 syntonic")->value(), -5.377, 5e-4);
    EXPECT_NEAR(parse_tempering("−1/6 Pythagorean")->value(), -3.910, 5e-4);
    EXPECT_NEAR(parse_tempering("+1/12 pythagorean")->value(), 1.955, 5e-4);
    EXPECT_EQ(parse_tempering("pure"), Cents{0.0});
    for (const char* text : {"", "1/4", "-1/0 syntonic", "a quarter", "-1/4 diesis",
                             "--1/4 syntonic", "-1/4  syntonic", "-/4 syntonic"})
        EXPECT_EQ(parse_tempering(text), std::nullopt) << text;
}

// Twelve fifths make seven octaves, whatever their tempering: sums to 8400 cents.
TEST(Temperament, EveryCircleCloses) {
    for (const BuiltInTemperament& known : built_in_temperaments()) {
        EXPECT_NEAR(closing_error(known.fifths).value(), 0.0, 1e-9) << known.name;
        for (int start = 0; start < 12; ++start) {
            const Temperament t = *built_in_temperament(known.name, start);
            EXPECT_EQ(t.from_equal[9], Cents{0.0}) << known.name;
            const Fifths fifths = fifths_of(t);
            double sum = 0.0;
            for (std::size_t i = 0; i < fifths.size(); ++i) {
                sum += fifths[i].value();
                EXPECT_NEAR(
                    fifths[i].value(),
                    known.fifths[(i + static_cast<std::size_t>(12 - 7 * start % 12)) % 12].value(),
                    1e-9)
                    << known.name << " from " << start;
            }
            EXPECT_NEAR(sum, -kPythagoreanComma.value(), 1e-9);
        }
    }
}

// Any twelve fifths that close survive the way into a temperament and back; also as offsets.
TEST(Temperament, FifthsAndOffsetsAreTheSameTemperament) {
    std::mt19937 random(5);
    std::uniform_real_distribution<double> tempering(-8.0, 4.0);
    for (int round = 0; round < 50; ++round) {
        Fifths fifths;
        double sum = 0.0;
        for (std::size_t i = 0; i < 11; ++i) {
            fifths[i] = Cents{tempering(random)};
            sum += fifths[i].value();
        }
        fifths[11] = Cents{-sum} - kPythagoreanComma;
        const Temperament t = from_fifths("own", fifths);
        const Fifths back = fifths_of(t);
        std::array<Cents, 12> shifted = t.from_equal;
        for (Cents& offset : shifted)
            offset += Cents{3.21};
        const Temperament again = from_offsets("own", shifted);
        for (std::size_t i = 0; i < 12; ++i) {
            EXPECT_NEAR(back[i].value(), fifths[i].value(), 1e-9);
            EXPECT_NEAR(again.from_equal[i].value(), t.from_equal[i].value(), 1e-9);
        }
    }
}

TEST(Temperament, NamesWhateverTheCase) {
    EXPECT_TRUE(built_in_temperament("werckmeister iii"));
    EXPECT_FALSE(built_in_temperament("werckmeister"));
}

}  // namespace temperament_test
}  // namespace rankwright::organ
