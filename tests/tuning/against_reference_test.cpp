#include "tuning/against_reference.h"

#include <cmath>

#include <gtest/gtest.h>

namespace rankwright::tuning {
namespace against_reference_test {

using listening::BeatReading;
using listening::Hearing;
using listening::PairHearing;
using listening::Sounding;

constexpr double kRate = 48000.0;
const Hertz kOctaveReference{523.2511};  // C an octave above middle C at A 440 (MIDI standard)

/// Middle C of an 8′ rank from the 4′ on the same key: 2nd partial of the pipe, 1st of the
/// reference.
PairedExpectation middle_c(Hertz target_beat = Hertz{0.0}) {
    PairedExpectation expected;
    expected.pipe.id = {"great", "principal-8", 1, 25};
    expected.pipe.key = 25;
    expected.pipe.make.device = organ::TuningDevice::sleeve;
    expected.reference.pipe.id = {"great", "octave-4", 1, 25};
    expected.reference.reference_partial = 1;
    expected.reference.pipe_partial = 2;
    expected.reference.beat = target_beat;
    expected.reference_target = kOctaveReference;
    expected.day_known = true;
    expected.tolerance = Cents{0.5};
    for (const int semitones : {-2, -1, 1, 2, 12}) {
        const Cents by{100.0 * semitones};
        expected.others.push_back({25 + semitones, transpose(kOctaveReference, by)});
        expected.others.push_back({25 + semitones, transpose(kOctaveReference * 0.5, by)});
    }
    return expected;
}

FrameIndex at(double seconds) { return {std::llround(seconds * kRate)}; }

/// Both sound and beat so, positive = pipe sharp.
PairHearing beating(double at_s, double beat_hz, double sd_hz = 0.01,
                    Sounding sounding = Sounding::steady, Hertz reference = kOctaveReference) {
    PairHearing pair;
    pair.now = at(at_s);
    pair.sounding = sounding;
    pair.tone = 1;
    BeatReading reading;
    reading.reference = reference;
    reading.pipe = (reference + Hertz{beat_hz}) / 2.0;
    reading.beat = Hertz{beat_hz};
    reading.beat_sd = Hertz{sd_hz};
    if (std::abs(beat_hz) < 2.0 * sd_hz) reading.under = Hertz{std::abs(beat_hz) + 2.0 * sd_hz};
    reading.cents = interval(reference * 0.5, reading.pipe);
    pair.reading = reading;
    pair.heard = Seconds{std::min(at_s, 2.0)};
    return pair;
}

/// The same, where the ear can't tell two in tune from a reference alone.
PairHearing perhaps_beating(double at_s, double beat_hz, double sd_hz = 0.01) {
    PairHearing pair = beating(at_s, beat_hz, sd_hz);
    pair.perhaps_both = true;
    return pair;
}

PairHearing silence(double at_s) {
    PairHearing pair;
    pair.now = at(at_s);
    return pair;
}

PairHearing alone(double at_s, Cents off, Cents sd = Cents{0.1}) {
    PairHearing pair;
    pair.now = at(at_s);
    pair.sounding = Sounding::steady;
    pair.reference_alone = true;
    listening::PitchReading reading;
    reading.pitch = transpose(kOctaveReference, off);
    reading.sd = transpose(reading.pitch, sd) - reading.pitch;
    pair.reference = reading;
    return pair;
}

Hearing tone(Hertz pitch) {
    Hearing any;
    any.sounding = Sounding::steady;
    any.coarse = pitch;
    listening::PitchReading reading;
    reading.pitch = pitch;
    reading.sd = Hertz{0.01};
    any.reading = reading;
    return any;
}

struct AgainstReferenceTest : ::testing::Test {
    AgainstReference job;
    const PairedState& state() const { return job.state(); }
    void hear(const PairHearing& pair) { job.hear(pair, {}); }
    void hear_for(double from_s, double to_s, double beat_hz, double sd_hz = 0.01) {
        for (double s = from_s; s < to_s; s += 0.1)
            hear(beating(s, beat_hz, sd_hz));
    }
};

TEST_F(AgainstReferenceTest, SaysNothingWhereNothingIsKnown) {
    job.expect(middle_c());
    hear(silence(0.1));
    EXPECT_EQ(state().pipe.stage, Stage::waiting);
    PairHearing speaking = silence(0.2);
    speaking.sounding = Sounding::speaking;
    hear(speaking);
    EXPECT_EQ(state().pipe.stage, Stage::speaking);
    EXPECT_FALSE(state().beat);
    EXPECT_FALSE(state().under);
    EXPECT_FALSE(state().pipe.deviation);
    EXPECT_FALSE(state().pipe.advice);
    EXPECT_FALSE(state().reference);
}

// x beats a second at a meeting near f are 1200/ln 2 · x/f cents: from the definition of the cent.
// Sleeve up flattens: common practice; toff.org.uk, tuning notes.
TEST_F(AgainstReferenceTest, SaysBeatsWithTheirSignCentsAndTheWayToMove) {
    job.expect(middle_c());
    hear(beating(1.0, 0.42));
    EXPECT_EQ(state().pipe.stage, Stage::reading);
    EXPECT_NEAR(state().beat->value(), 0.42, 1e-6);
    EXPECT_NEAR(state().off_target->value(), 0.42, 1e-6);
    EXPECT_NEAR(state().pipe.deviation->value(), 1200.0 / std::log(2.0) * 0.42 / 523.2511, 1e-3);
    EXPECT_NEAR(state().pipe.pitch->value(), (523.2511 + 0.42) / 2.0, 1e-6);
    EXPECT_FALSE(state().under);
    ASSERT_TRUE(state().pipe.advice);
    EXPECT_EQ(state().pipe.advice->way, organ::Way::up);

    AgainstReference flat;
    flat.expect(middle_c());
    flat.hear(beating(1.0, -0.42), {});
    EXPECT_NEAR(flat.state().beat->value(), -0.42, 1e-6);
    EXPECT_EQ(flat.state().pipe.advice->way, organ::Way::down);
}

TEST_F(AgainstReferenceTest, GivesNoWayToMoveBeforeTheSignIsKnown) {
    job.expect(middle_c());
    PairHearing both = beating(1.0, 0.4, 0.5);          // under 1.4: sharp or flat
    both.reference = alone(0.5, Cents{0.0}).reference;  // heard before the pipe came
    hear(both);
    EXPECT_EQ(state().pipe.stage, Stage::reading);
    EXPECT_TRUE(state().under);
    EXPECT_FALSE(state().pipe.advice);
}

// A reference that sounds alone looks like two in tune: while the pipe may yet come, or be silent,
// that figure counts for nothing.
TEST_F(AgainstReferenceTest, WhatMayBeTheReferenceAloneDoesNotCount) {
    job.expect(middle_c());
    for (double s = 0.2; s < 2.2; s += 0.1)
        hear(perhaps_beating(s, 0.005, 0.05));
    EXPECT_TRUE(state().perhaps_both);
    EXPECT_FALSE(state().pipe.counts);
    EXPECT_FALSE(state().pipe.advice);
    hear(beating(2.4, -2.5));
    EXPECT_TRUE(state().pipe.counts);
    EXPECT_NEAR(state().beat->value(), -2.5, 1e-6);
    // Once it was heard it doesn't go away.
    hear(beating(2.8, 0.005, 0.05, Sounding::moving));
    hear(beating(3.2, 0.005, 0.05));
    EXPECT_TRUE(state().pipe.counts);

    AgainstReference in_tune;
    in_tune.expect(middle_c());
    for (double s = 0.2; s < 8.0; s += 0.1)
        in_tune.hear(perhaps_beating(s, 0.005), {});
    EXPECT_NE(in_tune.state().pipe.stage, Stage::settled) << "a silent pipe never comes";
    for (double s = 8.0; s < 12.0; s += 0.1)
        in_tune.hear(beating(s, 0.005), {});
    EXPECT_EQ(in_tune.state().pipe.stage, Stage::settled);
}

TEST_F(AgainstReferenceTest, WhatWasReadBeforeThePipeCameSaysNothingOfIt) {
    job.expect(middle_c());
    for (double s = 0.4; s < 2.4; s += 0.1)  // the reference alone, taken for two in tune
        hear(perhaps_beating(s, 0.02, 0.2));
    ASSERT_FALSE(state().pipe.counts);
    hear(beating(2.4, -2.4));
    ASSERT_TRUE(state().pipe.deviation);
    EXPECT_NEAR(state().pipe.deviation->value(), -7.95, 0.05);  // 1200·log2(520.85/523.25)
    EXPECT_LT(state().pipe.heard.count(), 0.1);
    hear_for(2.5, 3.5, -2.4);
    EXPECT_TRUE(state().pipe.counts);
    EXPECT_NEAR(state().pipe.heard.count(), 1.0, 0.15);
}

TEST_F(AgainstReferenceTest, APairThatSeemsInTuneCountsLaterThanOneThatBeats) {
    const auto counts = [this](double beat_hz, double sd_hz) {
        job = {};
        job.expect(middle_c());
        // The reference was heard alone on this key: both have come.
        PairHearing reference = alone(0.3, Cents{0.0});
        reference.tone = 1;
        hear(reference);
        for (double s = 0.4; s < 6.0; s += 0.1) {
            PairHearing both = beating(s, beat_hz, sd_hz);
            both.reference = reference.reference;
            hear(both);
            if (state().pipe.counts) return s;
        }
        return 6.0;
    };
    EXPECT_LT(counts(-2.4, 0.01), 1.5);
    const double near_nought = counts(0.01, 0.05);
    EXPECT_GT(near_nought, 1.9);
    EXPECT_LT(near_nought, 3.0);
}

TEST_F(AgainstReferenceTest, MeasuresFromATargetThatIsNotNought) {
    job.expect(middle_c(Hertz{1.8}));
    hear(beating(1.0, 1.3));
    EXPECT_NEAR(state().beat->value(), 1.3, 1e-6);
    EXPECT_NEAR(state().off_target->value(), -0.5, 1e-6);
    EXPECT_EQ(state().pipe.advice->way, organ::Way::down) << "too slow a celeste is flat";
    hear_for(1.1, 4.0, 1.82);
    EXPECT_EQ(state().pipe.stage, Stage::settled);
    EXPECT_FALSE(state().pipe.advice);
}

TEST_F(AgainstReferenceTest, ANewTargetIsMeasuredFromAtOnce) {
    job.expect(middle_c());
    hear_for(0.5, 3.6, 0.0);
    ASSERT_EQ(state().pipe.stage, Stage::settled);
    job.expect(middle_c(Hertz{2.0}));
    EXPECT_NE(state().pipe.stage, Stage::settled);
    hear(beating(3.7, 0.0));
    EXPECT_NEAR(state().off_target->value(), -2.0, 1e-6);
}

TEST_F(AgainstReferenceTest, SaysUnderWhereOnlyThatIsKnown) {
    job.expect(middle_c());
    hear(beating(1.0, 0.02, 0.05));
    ASSERT_TRUE(state().under);
    EXPECT_NEAR(state().under->value(), 0.12, 1e-9);
    EXPECT_LE(std::abs(state().pipe.deviation->value()), 2.0 * state().pipe.uncertainty->value())
        << "no side may be shown";
}

// Readings on either side of nought whose sign isn't known must not be averaged to a beat of
// nought.
TEST_F(AgainstReferenceTest, MirroredReadingsDoNotBecomeANought) {
    job.expect(middle_c());
    for (int i = 0; i < 30; ++i) {
        PairHearing pair = beating(0.5 + 0.1 * i, i % 2 == 0 ? 0.2 : -0.2, 0.05);
        pair.reading->under = Hertz{0.3};
        hear(pair);
        ASSERT_TRUE(state().under);
        EXPECT_GE(state().under->value(), 0.3);
        EXPECT_NE(state().pipe.stage, Stage::settled);
    }
}

TEST_F(AgainstReferenceTest, SettlesAfterStandingNotBeforeAndStaysWhenTheKeyComesUp) {
    job.expect(middle_c());
    hear_for(0.5, 1.6, 0.04);
    EXPECT_EQ(state().pipe.stage, Stage::reading);
    hear_for(1.6, 2.2, 0.04);
    EXPECT_EQ(state().pipe.stage, Stage::settled);
    hear(silence(2.3));
    EXPECT_EQ(state().pipe.stage, Stage::settled);
    PairHearing moved = beating(3.0, 0.8);
    moved.tone = 2;
    hear(moved);
    EXPECT_EQ(state().pipe.stage, Stage::reading);
}

TEST_F(AgainstReferenceTest, AnUncertainBeatDoesNotSettle) {
    job.expect(middle_c());
    for (double s = 0.5; s < 5.0; s += 0.1) {
        hear(beating(s, 0.02, 0.3));
        ASSERT_NE(state().pipe.stage, Stage::settled) << s;
    }
}

// A handled pipe is heard to fall as it cools: common practice, no source for the rate.
TEST_F(AgainstReferenceTest, ADriftingBeatIsSaidToDriftAndDoesNotSettle) {
    job.expect(middle_c());
    for (double s = 0.5; s < 5.0; s += 0.1) {
        PairHearing pair = beating(s, 0.14 - 0.07 * (s - 0.5));  // 0.23 cents a second
        hear(pair);
        if (s > 2.5) {
            EXPECT_TRUE(state().pipe.drifting) << s;
            EXPECT_NE(state().pipe.stage, Stage::settled) << s;
        }
    }
}

TEST_F(AgainstReferenceTest, WindThatMovesBothIsNoDrift) {
    job.expect(middle_c());
    for (double s = 0.5; s < 4.0; s += 0.1)
        hear(beating(s, 0.05, 0.01, Sounding::steady,
                     transpose(kOctaveReference, Cents{0.5 * (s - 0.5)})));
    EXPECT_FALSE(state().pipe.drifting);
    EXPECT_EQ(state().pipe.stage, Stage::settled);
}

TEST_F(AgainstReferenceTest, ATapIsFollowedAtOnce) {
    job.expect(middle_c());
    hear_for(0.5, 3.0, 0.9);
    hear(beating(3.1, 0.6, 0.05, Sounding::moving));
    EXPECT_EQ(state().pipe.stage, Stage::moving);
    EXPECT_NEAR(state().beat->value(), 0.6, 1e-6);
}

TEST_F(AgainstReferenceTest, AKnockHoldsTheLastFigure) {
    job.expect(middle_c());
    hear_for(0.5, 1.0, 0.9);
    PairHearing knocked = silence(1.1);
    knocked.sounding = Sounding::disturbed;
    hear(knocked);
    EXPECT_EQ(state().pipe.stage, Stage::disturbed);
    EXPECT_NEAR(state().beat->value(), 0.9, 1e-6);
}

TEST_F(AgainstReferenceTest, AReferenceThatIsOffIsNamedWhenItsErrorWouldBeCopied) {
    job.expect(middle_c());
    hear(alone(0.5, Cents{-4.0}));
    EXPECT_EQ(state().pipe.stage, Stage::reference);
    EXPECT_NEAR(state().reference_deviation->value(), -4.0, 1e-9);
    EXPECT_TRUE(state().copies_error);
    EXPECT_NEAR(job.awaited().reference.value(), transpose(kOctaveReference, Cents{-4}).value(),
                1e-9);

    AgainstReference good;
    good.expect(middle_c());
    good.hear(alone(0.5, Cents{0.3}), {});
    EXPECT_FALSE(good.state().copies_error);

    // Without today's A, 4 cents flat may be a cool day.
    AgainstReference unknown;
    PairedExpectation expected = middle_c();
    expected.day_known = false;
    unknown.expect(expected);
    unknown.hear(alone(0.5, Cents{-4.0}), {});
    EXPECT_FALSE(unknown.state().copies_error);
    expected.day_known = true;
    unknown.expect(expected);
    EXPECT_TRUE(unknown.state().copies_error) << "known as soon as the day's pitch is";
}

TEST_F(AgainstReferenceTest, TheReferenceHeardOnlyBesideThePipeIsJudgedTooButAloneComesFirst) {
    job.expect(middle_c());
    hear(beating(1.0, 0.5, 0.02, Sounding::steady, transpose(kOctaveReference, Cents{5.0})));
    ASSERT_TRUE(state().reference_deviation);
    EXPECT_NEAR(state().reference_deviation->value(), 5.0, 1e-6);
    EXPECT_TRUE(state().copies_error);

    AgainstReference alone_first;
    alone_first.expect(middle_c());
    alone_first.hear(alone(0.5, Cents{1.0}), {});
    alone_first.hear(
        beating(1.0, 0.5, 0.5, Sounding::steady, transpose(kOctaveReference, Cents{5.0})), {});
    EXPECT_NEAR(alone_first.state().reference_deviation->value(), 1.0, 1e-6);
}

// Two that draw each other into one frequency don't beat, however far apart they are alone: N. H.
// Fletcher, "Mode locking in nonlinearly excited inharmonic musical oscillators", JASA 64(6), 1978.
// Common practice, no source: nobody touches the reference meanwhile, so its soundings, each short
// and wandering, are of one pipe. Two readings of one size meet halfway.
TEST_F(AgainstReferenceTest, AlonePipesAreJudgedByAllSoundingsOfTheReference) {
    job.expect(middle_c());
    const auto off = [&] { return interval(kOctaveReference * 0.5, job.alone().target).value(); };
    hear(alone(1.0, Cents{-1.8}));
    EXPECT_NEAR(off(), -1.8, 1e-3);
    const Cents once = job.alone().target_doubt;
    PairHearing again = alone(5.0, Cents{0.2});
    again.tone = 1;
    hear(again);
    EXPECT_NEAR(off(), -0.8, 1e-3);
    // So far apart they contradict what each claims: their mean is known no better than they agree.
    EXPECT_GT(job.alone().target_doubt, once);
    PairHearing better = alone(5.5, Cents{0.4});
    better.tone = 1;
    hear(better);
    EXPECT_NEAR(off(), -0.7, 1e-3) << "the same sounding, heard longer";
}

// Near in tune the two pass for one at first.
TEST_F(AgainstReferenceTest, WhatWasReadOfBothTogetherIsNotTheReference) {
    job.expect(middle_c());
    hear(alone(1.0, Cents{0.2}));
    PairHearing both = alone(5.0, Cents{-1.8});
    both.tone = 1;
    hear(both);
    hear(beating(6.0, 2.0));
    EXPECT_NEAR(state().reference_deviation->value(), 0.2, 1e-3);
}

TEST_F(AgainstReferenceTest, PulledTogetherPipesDoNotSettleAndThePipeIsPutRightAlone) {
    job.expect(middle_c());
    hear(alone(0.5, Cents{0.0}));
    hear_for(0.02, 4.0, 0.01);
    EXPECT_FALSE(state().drawn()) << "the pipe wasn't heard alone yet";
    EXPECT_EQ(state().pipe.stage, Stage::settled);

    const Expectation without = job.alone();
    EXPECT_NEAR(without.target.value(), (kOctaveReference * 0.5).value(), 1e-6);
    job.heard_alone(*tone(transpose(without.target, Cents{6.0})).reading);
    hear_for(0.02, 8.0, 0.01);
    EXPECT_TRUE(state().drawn());
    EXPECT_EQ(state().drawing.drawing, Drawing::pulled_together);
    EXPECT_EQ(state().pipe.stage, Stage::reading);

    hear(beating(9.0, 0.4, 0.05, Sounding::moving));
    hear_for(0.02, 14.0, 0.01);
    EXPECT_FALSE(state().drawn()) << "what was heard alone no longer holds once the pipe moved";
}

TEST_F(AgainstReferenceTest, BetweenTwoReadingsOfOneToneTheLastFigureStays) {
    job.expect(middle_c());
    hear(beating(1.0, 0.5));
    PairHearing between = beating(1.1, 0.5);
    between.reading.reset();
    between.sounding = Sounding::speaking;
    hear(between);
    EXPECT_EQ(state().pipe.stage, Stage::moving);
    EXPECT_NEAR(state().beat->value(), 0.5, 1e-6);
    between.tone = 2;
    hear(between);
    EXPECT_EQ(state().pipe.stage, Stage::speaking) << "the key went down anew";
}

TEST_F(AgainstReferenceTest, NamesAnotherKeyAndThePipesOwnPartsAreNone) {
    job.expect(middle_c());
    job.hear(silence(1.0), tone(transpose(kOctaveReference, Cents{104.0})));
    EXPECT_EQ(state().pipe.stage, Stage::wrong_key);
    EXPECT_EQ(state().pipe.wrong_key, 26);
    job.hear(silence(1.5), tone(transpose(kOctaveReference * 0.5, Cents{-195.0})));
    EXPECT_EQ(state().pipe.wrong_key, 23) << "by the pipe, when that is what is heard";

    AgainstReference right;
    right.expect(middle_c());
    for (const Hertz own : {kOctaveReference, kOctaveReference * 0.5}) {
        right.hear(silence(1.0), tone(own));
        EXPECT_NE(right.state().pipe.stage, Stage::wrong_key) << own.value();
    }
    right.hear(beating(2.0, 0.3), tone(transpose(kOctaveReference, Cents{104.0})));
    EXPECT_EQ(right.state().pipe.stage, Stage::reading) << "the two that are awaited do sound";
}

TEST_F(AgainstReferenceTest, ASettledPipeIsLeftForTheNextKey) {
    job.expect(middle_c());
    hear_for(0.5, 3.6, 0.01);
    job.hear(silence(4.1), tone(transpose(kOctaveReference, Cents{200.0})));
    EXPECT_EQ(state().pipe.stage, Stage::settled);
    EXPECT_EQ(state().pipe.wrong_key, 27);
}

}  // namespace against_reference_test
}  // namespace rankwright::tuning
