// A run through a rank that is tuned from another.
#include "support/plain_rank.h"
#include "support/small_organ.h"
#include "visit/run.h"

#include <string>
#include <utility>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::visit {
namespace run_from_reference_test {

using testing::small_organ;

/// A Great of a 4′ and what is tuned from it; the Swell's celeste; a clarion in octaves to itself.
organ::Instrument organ_with_references() {
    organ::Instrument instrument = small_organ();
    organ::Division& great = instrument.divisions.front();
    const auto stop = [](const char* id, const char* name, const char* feet) {
        organ::Stop made;
        made.id = id;
        made.name = name;
        made.footage = organ::parse_footage(feet).value();
        made.makes = {{1, {}}};
        return made;
    };
    organ::Stop octave = stop("octave-4", "Octave 4′", "4");
    organ::Stop clarion = stop("clarion-4", "Clarion 4′", "4");
    clarion.tuned_from = {{1, "great", "octave-4", 0}, {13, "great", "clarion-4", -12}};
    great.stops.front().tuned_from = {{1, "great", "octave-4", 0}};
    organ::Division swell;
    swell.id = "swell";
    swell.name = "Swell";
    organ::Stop celeste = stop("celeste-8", "Celeste 8′", "8");
    celeste.tuned_from = {{1, "great", "principal-8", 0}};
    celeste.celeste = organ::Celeste{"great", "principal-8", {{1, Hertz{2.0}}}};
    swell.stops = {celeste};
    great.stops.push_back(octave);
    great.stops.push_back(clarion);
    instrument.divisions.push_back(swell);
    return instrument;
}

struct ReferenceRunTest : ::testing::Test {
    organ::Instrument instrument = organ_with_references();
    visit::Run run_of(const char* name, organ::Day day = {},
                      RunOptions options = {Job::from_reference}) {
        return {instrument, organ::find_stop(instrument, name).value(), std::move(day), options};
    }
    /// The pipe's reference was heard `off` its target at A 440, with the pipe itself `stage`.
    static tuning::PairedState heard(const visit::Run& run, Cents off, tuning::Stage stage) {
        tuning::PairedState state;
        state.pipe.stage = stage;
        state.pipe.tone = testing::tone_of(run.pipe());
        state.pipe.deviation = Cents{0.1};
        const organ::Pipe reference = run.paired_expectation()->reference.pipe;
        state.reference = transpose(organ::target(run.instrument(), reference, {}), off);
        state.reference_deviation = off;
        state.reference_uncertainty = Cents{0.05};
        return state;
    }
};

// An 8′ pipe's second partial meets the first of the 4′ on the same key: pipe lengths 2:1.
TEST_F(ReferenceRunTest, AnEightFootIsTunedFromTheFourFootOnTheSameKey) {
    visit::Run run = run_of("Principal 8");
    run.go_to(25);
    const auto expected = run.paired_expectation();
    ASSERT_TRUE(expected);
    EXPECT_EQ(expected->reference.pipe.stop, "Octave 4′");
    EXPECT_EQ(expected->reference.pipe.key, 25);
    EXPECT_EQ(expected->reference.reference_partial, 1);
    EXPECT_EQ(expected->reference.pipe_partial, 2);
    EXPECT_NEAR(expected->reference.beat.value(), 0.0, 1e-9);
    EXPECT_NEAR(expected->reference_target.value(), 523.2511, 1e-3);  // MIDI standard, A 440
    EXPECT_FALSE(expected->day_known);
    const Call call = run.call();
    EXPECT_EQ(call.stops, (std::vector<std::string>{"Octave 4′", "Principal 8′"}));
    EXPECT_EQ(call.key.note, "middle C");
    EXPECT_FALSE(call.also);
}

TEST_F(ReferenceRunTest, ToTargetKnowsNoReferenceAndNeitherDoesTheReferenceRankItself) {
    const visit::Run plain = run_of("Principal 8", {}, {});
    EXPECT_FALSE(plain.paired_expectation());
    EXPECT_EQ(plain.call().stops, std::vector<std::string>{"Principal 8′"});
    EXPECT_FALSE(run_of("Octave 4").paired_expectation());
}

// Reeds in octaves to themselves above their first octave: common practice, no source.
TEST_F(ReferenceRunTest, OctavesToItselfCallForTwoKeysOfOneStop) {
    visit::Run run = run_of("Clarion 4");
    run.go_to(5);
    EXPECT_FALSE(run.call().also);
    EXPECT_EQ(run.call().stops.size(), 2U);
    run.go_to(25);
    ASSERT_TRUE(run.call().also);
    EXPECT_EQ(run.call().key.key, 25);
    EXPECT_EQ(run.call().also->key, 13);
    EXPECT_EQ(run.call().stops, std::vector<std::string>{"Clarion 4′"});
    EXPECT_EQ(run.paired_expectation()->reference.reference_partial, 2);
    EXPECT_EQ(run.paired_expectation()->reference.pipe_partial, 1);
}

TEST_F(ReferenceRunTest, AnotherDivisionsReferenceIsCalledWithItsDivision) {
    visit::Run run = run_of("Celeste 8");
    run.go_to(25);
    EXPECT_EQ(run.call().stops, (std::vector<std::string>{"Great · Principal 8′", "Celeste 8′"}));
    ASSERT_TRUE(run.call().also);
    EXPECT_EQ(run.call().also->division, "Great");
    EXPECT_NEAR(run.paired_expectation()->reference.beat.value(), 2.0, 1e-9) << "the file's beat";
}

// Flues rise 2.95 cents a kelvin at 20 °C (ISO 9613-1:1993, A.5): in a Swell 2 K warmer than the
// reference a pipe must stand 5.9 cents sharp to agree when both are alike.
TEST_F(ReferenceRunTest, CompensationChangesTheBeatWhenAskedFor) {
    organ::Day day;
    day.temperature = Celsius{20.0};
    day.places = {{"swell", Celsius{22.0}}};
    visit::Run plain = run_of("Celeste 8", day);
    visit::Run compensated = run_of("Celeste 8", day, {Job::from_reference, true});
    for (visit::Run* run : {&plain, &compensated})
        run->go_to(25);
    EXPECT_FALSE(plain.compensation());
    ASSERT_TRUE(compensated.compensation());
    const double extra = compensated.paired_expectation()->reference.beat.value() - 2.0;
    EXPECT_NEAR(plain.paired_expectation()->reference.beat.value(), 2.0, 1e-9);
    EXPECT_NEAR(extra, 263.6 * std::log(2.0) / 1200.0 * 5.9, 0.02);
}

TEST_F(ReferenceRunTest, ReferencesThatAgreeTellTodaysPitchAndATypedOneStands) {
    visit::Run run = run_of("Principal 8");
    for (const double off : {4.0, 4.3, 3.8, 4.1}) {
        run.follow(heard(run, Cents{off}, tuning::Stage::settled));
        run.next();
    }
    ASSERT_TRUE(run.day().pitch);
    EXPECT_NEAR(interval(Hertz{440.0}, *run.day().pitch).value(), 4.05, 0.2);
    EXPECT_TRUE(run.paired_expectation()->day_known);
    EXPECT_NEAR(run.outcomes()[1].reference->value(), 4.3, 1e-9);

    organ::Day typed;
    typed.pitch = Hertz{441.0};
    visit::Run given = run_of("Principal 8", typed);
    for (const double off : {9.0, 9.1, 8.9}) {
        given.follow(heard(given, Cents{off}, tuning::Stage::settled));
        given.next();
    }
    EXPECT_DOUBLE_EQ(given.day().pitch->value(), 441.0);
}

// The references are heard again after the organ has warmed: what they rose, the pitch rises.
TEST_F(ReferenceRunTest, TheDaysPitchFollowsTheReferencesThatAreHeardAgain) {
    visit::Run run = run_of("Principal 8");
    const auto hear = [&](int key, double off, double at_s) {
        run.go_to(key);
        auto state = heard(run, Cents{off}, tuning::Stage::settled);
        state.at = Seconds{at_s};
        run.follow(state);
    };
    for (const int key : {1, 5, 9, 13})
        hear(key, 4.0, 10.0 * key);
    EXPECT_NEAR(interval(Hertz{440.0}, *run.day().pitch).value(), 4.0, 0.2);
    EXPECT_NEAR(run.pitch_today().drift().value(), 0.0, 1e-9);
    for (const int key : {1, 5, 9})
        hear(key, 6.5, 1800.0 + 10.0 * key);
    run.next();
    EXPECT_NEAR(interval(Hertz{440.0}, *run.day().pitch).value(), 6.5, 0.2);
    EXPECT_NEAR(run.pitch_today().drift().value(), 2.5, 0.1);
    run.set_pitch(Hertz{441.0});
    EXPECT_NEAR(run.day().pitch->value(), 441.0, 1e-9) << "typed now: the drift counts from here";
}

TEST_F(ReferenceRunTest, ReferencesThatDisagreeTellNothing) {
    visit::Run run = run_of("Principal 8");
    for (const double off : {-9.0, 7.0, 1.0, 14.0}) {
        run.follow(heard(run, Cents{off}, tuning::Stage::settled));
        run.next();
    }
    EXPECT_FALSE(run.day().pitch);
}

TEST_F(ReferenceRunTest, MovesOnWhenASettledPipesSuccessorSounds) {
    visit::Run run = run_of("Principal 8");
    EXPECT_FALSE(run.follow(heard(run, Cents{0.0}, tuning::Stage::settled)));
    tuning::PairedState next;
    next.pipe.stage = tuning::Stage::settled;
    next.pipe.wrong_key = run.pipes()[1].key;
    EXPECT_TRUE(run.follow(next));
    EXPECT_EQ(run.settled_count(), 1U);
}

}  // namespace run_from_reference_test
}  // namespace rankwright::visit
