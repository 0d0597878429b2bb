#include "overlay/words.h"

#include <gtest/gtest.h>

namespace rankwright::overlay {
namespace {

TEST(Words, ASignIsSaidOnlyAboveTwiceTheUncertainty) {
    EXPECT_EQ(figure_of(Cents{3.24}, Cents{0.05}).sense, Sense::sharp);
    EXPECT_EQ(figure_of(Cents{3.24}, Cents{0.05}).number, "3.2");
    EXPECT_EQ(figure_of(Cents{-3.24}, Cents{0.05}).sense, Sense::flat);
    EXPECT_EQ(figure_of(Cents{-3.24}, Cents{0.05}).number, "3.2");
    EXPECT_EQ(figure_of(Cents{0.1}, Cents{0.05}).sense, Sense::undecided);
    EXPECT_EQ(figure_of(Cents{0.101}, Cents{0.05}).sense, Sense::sharp);
}

TEST(Words, WhatAnUndecidedFigureStaysUnderHolds) {
    const Figure figure = figure_of(Cents{0.06}, Cents{0.08});
    EXPECT_EQ(figure.sense, Sense::undecided);
    EXPECT_GE(std::stod(figure.number), 0.06 + 2 * 0.08);
}

TEST(Words, DecimalsFollowTheUncertainty) {
    EXPECT_EQ(figure_of(Cents{0.846}, Cents{0.02}).number, "0.85");
    EXPECT_EQ(figure_of(Cents{0.846}, Cents{0.05}).number, "0.8");
    EXPECT_EQ(figure_of(Cents{148.2}, Cents{0.01}).number, "148");
    EXPECT_EQ(decimal(-0.001, 2), "0.00");
    EXPECT_EQ(decimal(-1.5, 1), "−1.5");
}

TEST(Words, BeatsAreSaidSoThatTheyCanBeCounted) {
    Snapshot s;
    EXPECT_EQ(beats_words(s), "");
    s.target = Hertz{440.0};
    s.beats = Hertz{-0.42};
    s.uncertainty = Cents{0.05};
    EXPECT_EQ(beats_words(s), "0.42 beats a second");
    s.beats = Hertz{0.04};
    s.uncertainty = Cents{0.01};
    EXPECT_EQ(beats_words(s), "a beat in 25 s");
    s.uncertainty = Cents{1.0};
    EXPECT_TRUE(beats_words(s).starts_with("under ")) << beats_words(s);
}

TEST(Words, NotesComeApartIntoPlaceAndLetter) {
    EXPECT_EQ(note_parts("middle G").place, "middle");
    EXPECT_EQ(note_parts("middle G").letter, "G");
    EXPECT_EQ(note_parts("tenor F♯").letter, "F♯");
    EXPECT_EQ(note_parts("C♯ in altissimo").letter, "C♯");
    EXPECT_EQ(note_parts("C♯ in altissimo").place, "in altissimo");
    EXPECT_EQ(note_parts("CC").letter, "CC");
    EXPECT_EQ(note_parts("").letter, "");
    EXPECT_EQ(notes_to_come("then A · B · C♯"), (std::vector<std::string>{"A", "B", "C♯"}));
    EXPECT_TRUE(notes_to_come("the last pipe of this stop").empty());
}

TEST(Words, MovementsComeApartIntoDeviceAndWay) {
    EXPECT_EQ(movement_parts("resonator sleeve down").device, "resonator sleeve");
    EXPECT_EQ(movement_parts("resonator sleeve down").way, "down");
    EXPECT_EQ(movement_parts("no device: cut to length, too flat").way, "");
}

TEST(Words, NothingIsSaidWhereNothingIsKnown) {
    const Snapshot nothing;
    EXPECT_EQ(beats_words(nothing), "");
    EXPECT_EQ(certainty_words(nothing), "");
    EXPECT_EQ(pitch_words(nothing), "");
    EXPECT_EQ(day_words(nothing), "");
}

}  // namespace
}  // namespace rankwright::overlay
