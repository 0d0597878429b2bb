#include "overlay/words.h"

#include <gtest/gtest.h>

namespace rankwright::overlay {
namespace words_test {

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

Beat beat(double rate, double target, double sd) {
    return {Hertz{rate}, Hertz{target}, Hertz{sd}, std::nullopt};
}

TEST(BeatFigure, SaysTheSideOnlyWhenItIsKnown) {
    const Figure sharp = figure_of(beat(0.42, 0.0, 0.02));
    EXPECT_EQ(sharp.sense, Sense::sharp);
    EXPECT_EQ(sharp.sign, "sharp");
    EXPECT_EQ(sharp.number, "0.42");
    EXPECT_EQ(figure_of(beat(-12.34, 0.0, 0.02)).number, "12.3");
    EXPECT_EQ(figure_of(beat(-0.42, 0.0, 0.02)).sense, Sense::flat);

    const Figure unsure = figure_of(beat(0.02, 0.0, 0.02));
    EXPECT_EQ(unsure.sense, Sense::undecided);
    EXPECT_EQ(unsure.sign, "under");
    EXPECT_EQ(unsure.number, "0.06");
    Beat limited = beat(0.2, 0.0, 0.02);
    limited.under = Hertz{0.311};
    EXPECT_EQ(figure_of(limited).sense, Sense::undecided);
    EXPECT_EQ(figure_of(limited).number, "0.32") << "rounded up: under must hold";
}

// A celeste is heard to beat; what matters is how far from the beat that is wanted.
TEST(BeatFigure, IsTheDistanceFromTheWantedBeat) {
    const Figure slow = figure_of(beat(1.3, 1.8, 0.03));
    EXPECT_EQ(slow.sense, Sense::flat);
    EXPECT_EQ(slow.number, "0.50");
    EXPECT_EQ(beat_words(beat(1.3, 1.8, 0.03)), "beats 1.30, wanted 1.80 sharp");
    EXPECT_EQ(beat_words(beat(0.4, -1.5, 0.03)), "beats 0.40 sharp, wanted 1.50 flat");
    EXPECT_EQ(figure_of(beat(-1.9, -1.5, 0.03)).sense, Sense::flat) << "too fast a flat celeste";
    const Figure near = figure_of(beat(1.81, 1.8, 0.03));
    EXPECT_EQ(near.sense, Sense::undecided);
    EXPECT_EQ(near.sign, "off by less than");
}

TEST(BeatWords, SlowBeatsAreCountedInSeconds) {
    EXPECT_EQ(beat_words(beat(0.04, 0.0, 0.005)), "a beat in 25 s");
    EXPECT_EQ(beat_words(beat(0.42, 0.0, 0.02)), "");
}

TEST(ReferenceWords, SayHowTheReferenceItselfStands) {
    Snapshot s;
    s.reference = "Octave 4′";
    EXPECT_EQ(reference_words(s), "");
    s.reference_deviation = Cents{-2.14};
    EXPECT_EQ(reference_words(s), "Octave 4′ 2.1 cents flat of its target");
    s.reference_deviation = Cents{0.01};
    EXPECT_EQ(reference_words(s), "Octave 4′ at its target");
    s.reference_a = Hertz{441.26};
    EXPECT_EQ(reference_words(s), "Octave 4′ stands at A 441.3") << "no pitch of the day yet";
}

}  // namespace words_test
}  // namespace rankwright::overlay
