#include "organ/target.h"

#include "organ/air.h"
#include "organ/one_rank.h"

#include <gtest/gtest.h>

namespace rankwright::organ {
namespace target_test {

using namespace literals;

Hertz target_of(const Instrument& organ, std::string_view stop, int key, const Day& day = {},
                int row = 1) {
    for (const Pipe& pipe : pipes(*find_stop(organ, stop)))
        if (pipe.key == key && pipe.id.row == row) return target(organ, pipe, day);
    ADD_FAILURE() << stop << " has no key " << key;
    return {};
}

// MIDI 1.0: note 36, the 8′ C, is 65.406 Hz and middle C 261.626 Hz at A 440.
TEST(Target, EqualAtEveryFootage) {
    const Instrument organ =
        organ_of({rank_of("Principal 8'", {8, 1}), rank_of("Bourdon 16'", {16, 1}),
                  rank_of("Fifteenth 2'", {2, 1})});
    EXPECT_NEAR(target_of(organ, "Principal 8'", 1).value(), 65.406, 5e-4);
    EXPECT_NEAR(target_of(organ, "Principal 8'", 25).value(), 261.626, 5e-4);
    EXPECT_NEAR(target_of(organ, "Bourdon 16'", 1).value(), 32.703, 5e-4);
    EXPECT_NEAR(target_of(organ, "Fifteenth 2'", 61).value(), 8372.018, 5e-4);
    EXPECT_EQ(target_of(organ, "Principal 8'", 34), 440_Hz);
}

// Mechanical Music Digest 2001.02.23.05: Werckmeister III with A 220.
TEST(Target, FollowsTheTemperament) {
    const Instrument organ = organ_of({rank_of("Principal 8'", {8, 1})}, "Werckmeister III");
    EXPECT_NEAR(target_of(organ, "Principal 8'", 13).value(), 131.7021, 1e-4);
    EXPECT_NEAR(target_of(organ, "Principal 8'", 15).value(), 147.1644, 1e-4);
    EXPECT_NEAR(target_of(organ, "Principal 8'", 24).value(), 247.5, 1e-4);
}

// A quint is pure to its key's unison (3:1), also where the temperament's fifth is not; only when
// the file says so does it follow the temperament at the note it sounds.
TEST(Target, MutationsArePureUnlessTempered) {
    Stop tempered = rank_of("Nasard 2 2/3'", {8, 3});
    tempered.tempered = true;
    const Instrument organ =
        organ_of({rank_of("Principal 8'", {8, 1}), rank_of("Twelfth 2 2/3'", {8, 3}), tempered},
                 "quarter-comma meantone");
    for (int key = 1; key <= 37; ++key) {
        const Hertz unison = target_of(organ, "Principal 8'", key);
        EXPECT_NEAR(target_of(organ, "Twelfth 2 2/3'", key) / unison, 3.0, 1e-12);
        EXPECT_NEAR(
            target_of(organ, "Nasard 2 2/3'", key) / target_of(organ, "Principal 8'", key + 19),
            1.0, 1e-12);
    }
}

// Wikipedia, "Mixture (organ stop)": Great Fourniture IV, composition and breaks.
TEST(Target, MixtureRowsAreExactRatiosAtEveryBreak) {
    Stop mixture = rank_of("Fourniture IV", {8, 1});
    const auto rows = [](std::initializer_list<const char*> feet) {
        std::vector<Footage> out;
        for (const char* text : feet)
            out.push_back(*parse_footage(text));
        return out;
    };
    mixture.composition = {{1, rows({"1 1/3", "1", "2/3", "1/2"})},
                           {13, rows({"2", "1 1/3", "1", "2/3"})},
                           {25, rows({"2 2/3", "2", "1 1/3", "1"})},
                           {37, rows({"4", "2 2/3", "2", "1 1/3"})},
                           {49, rows({"5 1/3", "4", "2 2/3", "2"})}};
    const Instrument organ = organ_of({rank_of("Principal 8'", {8, 1}), mixture}, "Kirnberger III");
    const std::array<std::array<double, 4>, 5> ratios{
        {{6, 8, 12, 16}, {4, 6, 8, 12}, {3, 4, 6, 8}, {2, 3, 4, 6}, {1.5, 2, 3, 4}}};
    for (int key = 1; key <= 61; ++key) {
        const Hertz unison = target_of(organ, "Principal 8'", key);
        const auto& expected = ratios[std::min<std::size_t>((key - 1) / 12, 4)];
        for (int row = 1; row <= 4; ++row)
            EXPECT_NEAR(target_of(organ, "Fourniture IV", key, {}, row) / unison,
                        expected[static_cast<std::size_t>(row - 1)], 1e-12)
                << key << " row " << row;
    }
}

// Early Music Sources, "Historical pitch", footnote 1: 440.3 Hz at 20 °C is 432.7 at 10 °C.
TEST(Target, TheOrgansAIsCarriedToTodaysTemperature) {
    Instrument organ = organ_of({rank_of("Principal 8'", {8, 1})});
    organ.a = 440.3_Hz;
    organ.at = 20_degC;
    const Day cold{std::nullopt, 10_degC};
    EXPECT_NEAR(target_of(organ, "Principal 8'", 34, cold).value(), 432.7, 0.06);
    EXPECT_EQ(pitch_of(organ, {}), 440.3_Hz);
    // A measured (or typed) pitch says it all: the thermometer then only explains it.
    EXPECT_EQ(pitch_of(organ, {438.0_Hz, 10_degC}), 438.0_Hz);
}

TEST(Target, MovingAMovesAllTargetsAlike) {
    Stop mixture = rank_of("Cornet", {8, 1});
    mixture.composition = {{1, {{8, 1}, {4, 1}, {8, 3}, {2, 1}, {8, 5}}}};
    const Instrument organ =
        organ_of({mixture, rank_of("Trumpet 8'", {8, 1}), rank_of("Nasard", {8, 3})}, "Vallotti");
    const double shift = interval(440_Hz, 443.3_Hz).value();
    for (const Pipe& pipe : pipes(organ))
        EXPECT_NEAR(interval(target(organ, pipe, {440_Hz, {}}), target(organ, pipe, {443.3_Hz, {}}))
                        .value(),
                    shift, 1e-9);
}

// 345.86652 m/s at 23 °C and 50 % (IEC 61094-2:2009, Annex F; the conditions from memory) and
// 331.45 m/s in dry air at 0 °C, the classic handbook value: flues rise by their ratio.
TEST(Target, FollowsTheHumidityWhereItIsKnown) {
    Instrument organ = organ_of({rank_of("Principal 8'", {8, 1})});
    organ.at = 0_degC;
    organ.humidity = 0.0;
    Day day;
    day.temperature = 23_degC;
    day.humidity = 0.5;
    EXPECT_NEAR(interval(440.0_Hz * (345.86652 / 331.45), pitch_of(organ, day)).value(), 0.0, 0.06);
    day.humidity = 0.9;
    EXPECT_GT(pitch_of(organ, day).value(), 440.0 * 345.86652 / 331.45) << "moist air is lighter";
}

// By the definition of relative humidity the same water weighs on both places: beside the
// temperatures it makes next to no difference between two places of one building.
TEST(Target, HumidityHardlyChangesACompensation) {
    const Instrument organ = organ_of({rank_of("Principal 8'", {8, 1})});
    Day day;
    day.temperature = 17_degC;
    day.places = {{"great", 20_degC}};
    const Cents dry = compensation(organ, pipes(organ).front(), day)->offset;
    day.humidity = 0.4;
    const Cents moist = compensation(organ, pipes(organ).front(), day)->offset;
    EXPECT_NEAR(moist.value(), dry.value(), 0.2);
}

// A celeste beats at the stated rate against its mate, whatever the day's pitch.
TEST(Target, CelestesBeatWithTheirMate) {
    Stop celeste = rank_of("Celeste 8'", {8, 1});
    celeste.first_key = 13;
    celeste.celeste = Celeste{"great", "salicional-8", {{13, 2_Hz}, {25, 3_Hz}, {49, 4_Hz}}};
    const Instrument organ = organ_of({rank_of("Salicional 8'", {8, 1}), celeste});
    for (const Day& day : {Day{}, Day{436.0_Hz, {}}}) {
        const auto beat = [&](int key) {
            return (target_of(organ, "Celeste 8'", key, day) -
                    target_of(organ, "Salicional 8'", key, day))
                .value();
        };
        EXPECT_NEAR(beat(13), 2.0, 1e-9);
        EXPECT_NEAR(beat(19), 2.5, 1e-9);
        EXPECT_NEAR(beat(25), 3.0, 1e-9);
        EXPECT_NEAR(beat(37), 3.5, 1e-9);
        EXPECT_NEAR(beat(61), 4.0, 1e-9);
    }
}

// A reed that holds its pitch stands off the flues by all that these have gone: 15 K near 15 °C
// make some 45 cents (from memory; 3.0 cents a kelvin, Beauchamp 1999).
TEST(Target, WhatAReedTunedTodayWillRead) {
    Instrument organ = organ_of({rank_of("Trumpet 8'", {8, 1})});
    organ.at = 23_degC;
    Day cold;
    cold.temperature = 8_degC;
    Pipe pipe = pipes(organ).front();
    EXPECT_FALSE(compensation(organ, pipe, cold)) << "flues go with the reference";
    pipe.make = {PipeKind::reed_full, Material::metal, TuningDevice::reed_wire, 0.0};
    const auto held = compensation(organ, pipe, cold);
    EXPECT_NEAR(-held->offset.value(), -45.0, 1.0);
    EXPECT_NE(held->words.find("in tune now, it will read 4"), std::string::npos) << held->words;
    EXPECT_NE(held->words.find("cents flat then"), std::string::npos) << held->words;
    pipe.make.temperature_share = 0.4;
    EXPECT_NEAR(-compensation(organ, pipe, cold)->offset.value(), -0.6 * 45.0, 0.6);
}

// Tuned with its compensation, a pipe agrees with the reference's flues when both have come to the
// organ's own temperature: carried there by its own share.
TEST(Target, ACompensatedPipeAgreesAtHome) {
    const Instrument organ = organ_of({rank_of("Principal 8'", {8, 1})});
    const Celsius home = organ.at, reference = 17_degC;
    for (const double place : {12.0, 17.0, 24.5})
        for (const double share : {0.0, 0.3, 1.0}) {
            Day day;
            day.temperature = reference;
            day.places = {{"great", Celsius{place}}};
            Pipe pipe = pipes(organ).front();
            pipe.make.temperature_share = share;
            const auto comp = compensation(organ, pipe, day);
            const Cents offset = comp ? comp->offset : Cents{0.0};
            const Cents at_home = offset + flue_shift(Celsius{place}, home) * share;
            EXPECT_NEAR(at_home.value(), flue_shift(reference, home).value(), 0.05)
                << place << " " << share;
        }
    Day warm;
    warm.temperature = reference;
    warm.places = {{"great", 20_degC}};
    EXPECT_NEAR(compensation(organ, pipes(organ).front(), warm)->offset.value(), 8.9, 0.05);
    EXPECT_FALSE(compensation(organ, pipes(organ).front(), {}));
}

// A twelfth lies 1.955 cents above its note of equal temperament, a tierce 13.686 below (the
// harmonics 3 and 5 against 19 and 28 semitones).
TEST(Target, CentsFromEqual) {
    const Instrument organ =
        organ_of({rank_of("Twelfth 2 2/3'", {8, 3}), rank_of("Tierce 1 3/5'", {8, 5}),
                  rank_of("Fifteenth 2'", {2, 1})});
    const auto first = [&](const char* stop) {
        return cents_from_equal(organ, pipes(*find_stop(organ, stop)).front(), {443_Hz, {}})
            .value();
    };
    EXPECT_NEAR(first("Twelfth 2 2/3'"), 1.955, 5e-4);
    EXPECT_NEAR(first("Tierce 1 3/5'"), -13.686, 5e-4);
    EXPECT_NEAR(first("Fifteenth 2'"), 0.0, 1e-9);
}

}  // namespace target_test
}  // namespace rankwright::organ
