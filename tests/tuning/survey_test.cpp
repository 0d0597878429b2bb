// A rank is played in the simulated chamber, with planted faults. Truth is what was planted and
// which key was down; figures of pitch are judged in tests/accuracy.
#include "tuning/survey.h"

#include "listening/pipe_listener.h"
#include "organ/target.h"
#include "survey_take.h"

#include <cstddef>
#include <cstdint>
#include <set>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::tuning {
namespace survey_test {

using namespace survey_take;

TEST(Survey, EveryKeyIsInPlaceWithTalkAndKnocksBetweenAndInside) {
    Take take(1);
    for (int key = 1; key <= 25; ++key) {
        if (key % 5 == 0) take.chamber.knock();
        take.press(key);
        if (key % 4 == 0) {
            take.chamber.say_next();
            take.wait(0.8);
        }
        if (key % 7 == 0) take.chamber.footstep();
    }
    const SurveyResult result = take.survey();
    take.expect_in_place(result);
    EXPECT_EQ(result.readings.size(), 25U);
    EXPECT_TRUE(result.faults.empty()) << result.faults.size();
    EXPECT_TRUE(result.not_played.empty());
    ASSERT_TRUE(result.pitch);
    EXPECT_TRUE(result.pitch_measured);
    // The pipes' own mean, which the chamber knows.
    double mean = 0.0;
    for (const organ::Pipe& pipe : take.plan("octave").pipes)
        mean += interval(organ::target(take.instrument, pipe, {}), take.chamber.true_pitch(pipe.id))
                    .value() /
                25.0;
    EXPECT_NEAR(interval(take.instrument.a, *result.pitch).value(), mean,
                3.0 * result.pitch_uncertainty.value());
}

TEST(Survey, ASilentPipeIsToldFromASkippedKey) {
    Take take(2);
    for (int key = 1; key <= 25; ++key) {
        if (key == 9)
            take.wait(2.1);  // held, and nothing sounds
        else if (key != 17)
            take.press(key);
    }
    const SurveyResult result = take.survey();
    take.expect_in_place(result);
    const auto missing = of_kind(result, FaultKind::missing);
    ASSERT_EQ(missing.size(), 2U);
    EXPECT_EQ(missing[0]->pipe->key, 9);
    EXPECT_EQ(missing[0]->time_passed, true);
    EXPECT_EQ(missing[1]->pipe->key, 17);
    EXPECT_EQ(missing[1]->time_passed, false);
    EXPECT_EQ(result.faults.size(), 2U);
}

// Two keys held at once are no tone to the ear: the pipe isn't silent, and is no dead one.
TEST(Survey, AKeyThatWasHeldTogetherWithAnotherIsNoSilentPipe) {
    Take take(2);
    for (int key = 1; key <= 25; ++key) {
        if (key == 9) take.chamber.key_down("great", 13);
        if (key == 17)
            take.wait(2.1);  // held, and nothing sounds
        else
            take.press(key);
        if (key == 9) take.chamber.key_up("great", 13);
    }
    const SurveyResult result = take.survey();
    take.expect_in_place(result);
    for (const SurveyFault* missing : of_kind(result, FaultKind::missing))
        EXPECT_EQ(missing->sounded, missing->pipe->key != 17) << missing->pipe->key;
    EXPECT_FALSE(of_kind(result, FaultKind::missing).empty());
}

// Each key is let go only after the next has sounded for a while: no pipe is lost for it. What the
// ear leaves out of the second is found in the first, with its level.
TEST(Survey, KeysThatOverlapAreAllRead) {
    for (const std::uint64_t seed : {2, 3, 4}) {
        Take take(seed);
        for (int key = 1; key <= 25; ++key) {
            const double from = take.now_s();
            take.chamber.key_down("great", key);
            take.wait(0.7);
            if (key > 1) take.chamber.key_up("great", key - 1);
            take.wait(1.4);
            take.played.push_back({key, from, take.now_s()});
        }
        take.chamber.key_up("great", 25);
        take.wait(0.5);
        const SurveyResult result = take.survey();
        for (const SurveyReading& reading : result.readings)
            EXPECT_GT(reading.tone.level.value(), -60.0) << reading.pipe.key;
        std::set<int> read;
        for (const SurveyReading& reading : result.readings)
            read.insert(reading.pipe.key);
        EXPECT_EQ(read.size(), 25U) << seed;
    }
}

// As heard in simulated visits: the wind in two silent pipes was taken for tones that never settle
// (seed 101, 30 and 43 dB softer than their neighbours), that in a third for one that settled, for
// a quarter of the time that its neighbours sounded (seed 112, 27 dB softer); a pipe of which only
// the speech is at fault is as loud as they are, or some 10 dB softer (common practice, no source).
TEST(Survey, TheWindInASilentPipeIsNoToneOfIt) {
    const Take take(1);
    const SurveyPlan plan = take.plan("octave");
    std::vector<HeardTone> tones;
    for (int key = 1; key <= 25; ++key) {
        HeardTone tone = tone_of(take, plan, key, key * 2.2, key == 12 ? 0.3 : 1.2);
        tone.read = key != 16;
        const bool wind = key == 9 || key == 12 || key == 16;
        tone.level = Decibels{wind ? -52.0 : key == 20 ? -35.0 : -25.0};
        if (key == 9 || key == 16 || key == 20) tone.speech.reset();
        tones.push_back(tone);
    }
    const SurveyResult result = judge_survey(plan, tones, SampleRate{kRate});
    const auto missing = of_kind(result, FaultKind::missing);
    ASSERT_EQ(missing.size(), 3U);
    EXPECT_EQ(missing[0]->pipe->key, 9);
    EXPECT_EQ(missing[0]->time_passed, true);
    EXPECT_EQ(missing[1]->pipe->key, 12);
    EXPECT_EQ(missing[2]->pipe->key, 16);
    const auto off_speech = of_kind(result, FaultKind::off_speech);
    ASSERT_EQ(off_speech.size(), 1U);
    EXPECT_EQ(off_speech[0]->pipe->key, 20) << "it sounds, though it never settles";
    EXPECT_EQ(result.readings.size(), 22U);
}

// A pipe that creeps in for 1.6 s is out of order wherever it stands, though a deep one may take
// most of a second (common practice, no source). High up the ear takes its way for several tones,
// or loses it until the next key sounds: none of them is dead.
TEST(Survey, EachPipeThatIsSlowOfSpeechIsNamedFromTheBassToTheTreble) {
    for (const std::uint64_t seed : {21, 22})
        for (const int lowest_midi : {36, 60, 84}) {
            Take take(seed, "octave", Cents{5.0}, lowest_midi);
            const std::set slow{3, 12, 20, 21};
            for (const int key : slow)
                take.chamber.set_speech({"great", "octave", 1, key}, Seconds{1.6});
            for (int key = 1; key <= 25; ++key)
                take.press(key, 2.0);
            const SurveyResult result = take.survey();
            std::set<int> named;
            for (const SurveyFault* one : of_kind(result, FaultKind::off_speech))
                named.insert(one->pipe->key);
            EXPECT_EQ(named, slow) << lowest_midi << ", seed " << seed;
            EXPECT_TRUE(of_kind(result, FaultKind::missing).empty()) << lowest_midi;
        }
}

// In these rooms fundamentals of good pipes lie in a node, and their octave was heard instead. A
// pipe that overblows sounds as its upper octave does.
TEST(Survey, AFundamentalInANodeIsNoOctaveSlipAndAPipeThatOverblowsIs) {
    for (const std::uint64_t seed : {503, 513, 519, 522, 538, 539}) {
        constexpr int kOverblows = 5;
        Take take(seed, "principal");
        for (int key = 1; key <= 25; ++key)
            take.press(key == kOverblows ? key + 12 : key);
        const SurveyResult result = take.survey("principal");
        std::set<int> named;
        for (const SurveyFault* one : of_kind(result, FaultKind::octave))
            named.insert(one->pipe->key);
        EXPECT_EQ(named, std::set{kOverblows}) << seed;
        EXPECT_EQ(result.readings.size(), 25U) << seed;
    }
}

TEST(Survey, LiveItReadsTheSameKeysAsFromTheRecording) {
    Take take(6);
    for (int key = 1; key <= 25; key += 2)
        take.press(key);
    for (int key = 24; key >= 2; key -= 2)
        take.press(key);
    Survey survey(take.plan("octave"));
    listening::PipeListener listener({SampleRate{kRate}, 1});
    constexpr std::size_t kPiece = 240;
    for (std::size_t at = 0; at + kPiece <= take.sound.size(); at += kPiece) {
        listener.process({static_cast<std::int64_t>(at)}, {&take.sound[at], kPiece});
        survey.hear(listener.hearing());
    }
    survey.finish();
    const SurveyResult live = survey.result();
    take.expect_in_place(live);
    EXPECT_EQ(live.readings.size(), 25U);
    EXPECT_TRUE(live.faults.empty());
    const SurveyResult recorded = take.survey();
    ASSERT_EQ(recorded.readings.size(), live.readings.size());
    for (std::size_t i = 0; i < live.readings.size(); ++i) {
        EXPECT_EQ(recorded.readings[i].pipe.key, live.readings[i].pipe.key);
        EXPECT_NEAR(interval(recorded.readings[i].tone.pitch, live.readings[i].tone.pitch).value(),
                    0.0, 1.0);
    }
}

TEST(Survey, SilenceAndTalkAloneGiveNothing) {
    Take take(7);
    for (int i = 0; i < 6; ++i) {
        take.chamber.say_next();
        take.wait(0.7);
        take.chamber.knock();
        take.wait(0.8);
    }
    const SurveyResult result = take.survey();
    EXPECT_TRUE(result.readings.empty());
    EXPECT_FALSE(result.pitch);
}

}  // namespace survey_test
}  // namespace rankwright::tuning
