#include "organ/note.h"

#include <gtest/gtest.h>

namespace rankwright::organ {
namespace note_test {

// G. L. Miller, The Recent Revolution in Organ Building (1913), ch. III, footnote 5: CCC, CC,
// tenor C, middle C; ch. II: the letters double from GG, "four notes below CC". Treble C, in alt
// and in altissimo: common practice, no source. MIDI numbers: middle C = 60 (MIDI 1.0).
TEST(Note, NamesOfTheTrade) {
    EXPECT_EQ(note_name(24), "CCC");
    EXPECT_EQ(note_name(30), "FFF♯");
    EXPECT_EQ(note_name(31), "GG");
    EXPECT_EQ(note_name(36), "CC");
    EXPECT_EQ(note_name(42), "FF♯");
    EXPECT_EQ(note_name(43), "bass G");
    EXPECT_EQ(note_name(48), "tenor C");
    EXPECT_EQ(note_name(60), "middle C");
    EXPECT_EQ(note_name(66), "middle F♯");
    EXPECT_EQ(note_name(72), "treble C");
    EXPECT_EQ(note_name(84), "C in alt");
    EXPECT_EQ(note_name(96), "C in altissimo");
    EXPECT_EQ(short_note(67), "G");
    EXPECT_EQ(short_note(61), "C♯");
    EXPECT_EQ(short_note(-3), "A");
}

TEST(Note, EveryNameReadsBack) {
    for (int midi = 19; midi <= 107; ++midi)
        EXPECT_EQ(parse_note(note_name(midi)), midi) << note_name(midi);
}

TEST(Note, OtherSpellings) {
    EXPECT_EQ(parse_note("tenor c#"), 49);
    EXPECT_EQ(parse_note("Tenor D♭"), 49);
    EXPECT_EQ(parse_note("middle Bb"), 70);
    EXPECT_EQ(parse_note("BB"), 35);
    EXPECT_EQ(parse_note("BBb"), 34);
    EXPECT_EQ(parse_note("EEb"), 39);
    EXPECT_EQ(parse_note("bass C"), 36);
    EXPECT_EQ(parse_note("gamut G"), 43);
    EXPECT_EQ(parse_note("Eb in alt"), 87);
}

// "C2" is 36 in scientific pitch notation and 65.4 Hz; "c1" is middle C with Helmholtz and the
// 8′ C with others: refused rather than guessed.
TEST(Note, DoubtfulNamesAreRefused) {
    for (const char* text : {"", "C", "c1", "C2", "c'", "tenor", "tenor H", "tenor CC", "CCCC",
                             "middle C#4", "treble  C", "C in altt", "Bb", "60", "tenor C "})
        EXPECT_EQ(parse_note(text), std::nullopt) << text;
}

TEST(Note, PitchClasses) {
    EXPECT_EQ(parse_pitch_class("C"), 0);
    EXPECT_EQ(parse_pitch_class("Cb"), 11);
    EXPECT_EQ(parse_pitch_class("f#"), 6);
    EXPECT_EQ(parse_pitch_class("B♭"), 10);
    EXPECT_EQ(parse_pitch_class("H"), std::nullopt);
    EXPECT_EQ(parse_pitch_class("CC"), std::nullopt);
}

}  // namespace note_test
}  // namespace rankwright::organ
