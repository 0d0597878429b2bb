// What the tuning book is told of a survey. Results of a play are made here, so what is to be kept
// is known; which words the trade uses is common practice, no source.
#include "visit/survey_keeper.h"

#include "visit/wall_time.h"

#include <algorithm>
#include <chrono>
#include <map>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::visit {
namespace survey_keeper_test {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using tuning::FaultKind;
using tuning::SurveyReading;

constexpr SampleRate kRate{48000.0};

struct SurveyKeeperTest : ::testing::Test {
    SurveyKeeperTest() {
        organ::Division great;
        great.id = "great";
        great.name = "Great";
        great.keys = 12;
        organ::Stop stop;
        stop.id = "octave";
        stop.name = "Octave 4′";
        stop.last_key = 12;
        stop.footage = *organ::parse_footage("4'");
        stop.makes = {organ::MakeRange{}};
        great.stops = {stop};
        instrument.divisions = {great};
        ref = organ::stop_by_id(instrument, "great", "octave");
        run.emplace(instrument, ref, organ::Day{}, RunOptions{Job::survey});
        run->tell_time({Seconds{0.0}, wall_now()});
        survey = {ref, {}, kRate};
    }

    organ::Pipe pipe(int key) const { return *organ::pipe_of(ref, key); }
    /// Two seconds from the `place`-th press on; A of the day is `survey`'s, 440 without one.
    SurveyReading reading(int key, int place, double cents) const {
        SurveyReading one;
        one.pipe = pipe(key);
        organ::Day day;
        day.pitch = survey.result.pitch;
        one.target = organ::target(instrument, one.pipe, day);
        one.tone.pitch = transpose(organ::target(instrument, one.pipe, {}), Cents{cents});
        one.deviation = interval(one.target, one.tone.pitch);
        one.tone.uncertainty = Cents{0.1};
        one.tone.read = true;
        one.tone.from = FrameIndex{place * 100000};
        one.tone.stood = one.tone.from + 9600;
        one.tone.to = one.tone.left = one.tone.from + 91200;
        return one;
    }
    void play(std::initializer_list<std::pair<int, double>> keys) {
        survey.result.readings.clear();
        int place = 0;
        for (const auto& [key, cents] : keys)
            survey.result.readings.push_back(reading(key, ++place, cents));
    }
    Finding out_of_tune(int key) const {
        Finding finding;
        finding.kind = FindingKind::out_of_tune;
        finding.pipe = pipe(key);
        return finding;
    }
    tuning::SurveyFault fault(FaultKind kind, int key) const {
        tuning::SurveyFault one;
        one.kind = kind;
        one.pipe = pipe(key);
        return one;
    }
    /// Of the entries that count, those of one kind.
    template <typename Matter>
    std::vector<Matter> kept() const {
        std::vector<Matter> all;
        for (const BookEntry& entry : counted(run->record().entries()))
            if (const auto* matter = std::get_if<Matter>(&entry.matter)) all.push_back(*matter);
        return all;
    }
    std::map<int, double> kept_cents() const {
        std::map<int, double> cents;
        for (const KeptReading& one : kept<KeptReading>())
            cents[one.pipe.key] = one.deviation.value();
        return cents;
    }
    std::vector<int> proposed() const {
        std::vector<int> keys;
        for (const ListChange& change : kept<ListChange>())
            if (change.state == ListState::proposed) keys.push_back(change.pipe.key);
        return keys;
    }

    organ::Instrument instrument;
    organ::StopRef ref;
    std::optional<visit::Run> run;
    SurveyedStop survey;
};

TEST_F(SurveyKeeperTest, EachReadingIsKeptOnceAsItComes) {
    SurveyKeeper keeper(*run);
    play({{1, 2.0}});
    keeper.keep_readings(survey);
    ASSERT_EQ(run->record().entries().size(), 1U);
    const auto first = std::get<KeptReading>(run->record().entries()[0].matter);
    EXPECT_EQ(first.moment, Moment::survey);
    EXPECT_EQ(first.pipe, pipe(1).id);
    EXPECT_NEAR(first.deviation.value(), 2.0, 1e-9);
    EXPECT_NEAR(first.uncertainty.value(), 0.1, 1e-9);
    EXPECT_NEAR(first.heard.count(), 1.7, 1e-9);
    play({{1, 2.0}, {2, -1.0}, {2, -1.2}});
    keeper.keep_readings(survey);
    keeper.keep_readings(survey);
    EXPECT_EQ(run->record().entries().size(), 3U) << "nothing twice; a key played again counts";
    EXPECT_NEAR(run->record().of(pipe(2).id).survey->deviation.value(), -1.2, 1e-9);
}

TEST_F(SurveyKeeperTest, AKeyThatTurnsOutToBeItsNeighbourIsPutRight) {
    SurveyKeeper keeper(*run);
    play({{4, 40.0}});
    keeper.keep_readings(survey);
    survey.result.readings.clear();
    SurveyReading right = reading(5, 1, -60.0);
    survey.result.readings.push_back(right);
    keeper.keep_readings(survey);
    EXPECT_FALSE(run->record().of(pipe(4).id).survey);
    EXPECT_TRUE(run->record().of(pipe(5).id).survey);
    EXPECT_EQ(kept<KeptReading>().size(), 1U);
}

TEST_F(SurveyKeeperTest, TheEndPutsTargetsToTheMeasuredAAndProposesWhatIsOutOfTune) {
    SurveyKeeper keeper(*run);
    play({{1, 5.0}, {2, 5.0}, {3, 9.0}, {4, 5.0}});
    keeper.keep_readings(survey);
    EXPECT_THAT(kept<PitchReading>(), IsEmpty()) << "not before the end";
    survey.result.pitch = transpose(Hertz{440.0}, Cents{5.0});
    survey.result.pitch_measured = true;
    play({{1, 5.0}, {2, 5.0}, {3, 9.0}, {4, 5.0}});
    keeper.keep_all(survey, {out_of_tune(3)});
    const auto pitch = kept<PitchReading>();
    ASSERT_EQ(pitch.size(), 1U);
    EXPECT_TRUE(pitch[0].measured);
    EXPECT_EQ(run->day().pitch, survey.result.pitch) << "the visit goes on from there";
    const auto cents = kept_cents();
    EXPECT_EQ(kept<KeptReading>().size(), 4U);
    for (const auto& [key, off] : {std::pair{1, 0.0}, {2, 0.0}, {3, 4.0}, {4, 0.0}})
        EXPECT_NEAR(cents.at(key), off, 1e-6) << key;
    EXPECT_THAT(proposed(), ElementsAre(3));

    // More is played after all: what holds stays as it is, what doesn't goes.
    const std::size_t entries = run->record().entries().size();
    keeper.keep_all(survey, {out_of_tune(3)});
    EXPECT_EQ(run->record().entries().size(), entries);
    keeper.keep_all(survey, {out_of_tune(1)});
    EXPECT_THAT(proposed(), ElementsAre(1));
}

TEST_F(SurveyKeeperTest, WhatWasSaidOrUndoneByHandStands) {
    SurveyKeeper keeper(*run);
    run->note(ListChange{pipe(2).id, ListState::dropped});
    play({{1, 9.0}, {2, 9.0}, {3, 0.0}});
    keeper.keep_all(survey, {out_of_tune(1), out_of_tune(2)});
    EXPECT_EQ(run->record().of(pipe(2).id).list, ListState::dropped);
    EXPECT_THAT(proposed(), ElementsAre(1));
    run->tell_time({Seconds{60.0}, wall_now() + std::chrono::minutes(1)});
    ASSERT_TRUE(run->undo());
    keeper.keep_all(survey, {out_of_tune(1), out_of_tune(2)});
    EXPECT_THAT(proposed(), IsEmpty());
}

TEST_F(SurveyKeeperTest, AnotherSurveyOfTheVisitTakesBackWhatIsInTuneNow) {
    play({{1, 9.0}, {2, 9.0}, {3, 0.0}});
    SurveyKeeper(*run).keep_all(survey, {out_of_tune(1), out_of_tune(2)});
    play({{1, 0.1}, {3, 0.0}});
    SurveyKeeper(*run).keep_all(survey, {});
    EXPECT_THAT(proposed(), ElementsAre(2)) << "2 wasn't played again";
    EXPECT_NEAR(run->record().of(pipe(1).id).survey->deviation.value(), 0.1, 1e-9);
}

TEST_F(SurveyKeeperTest, FaultsAreNotedOnceInTradeWords) {
    SurveyKeeper keeper(*run);
    play({{1, 0.0}, {2, 0.0}, {6, 0.0}});
    auto silent = fault(FaultKind::missing, 3);
    silent.time_passed = true;
    auto skipped = fault(FaultKind::missing, 4);
    skipped.time_passed = false;
    auto slow = fault(FaultKind::off_speech, 6);
    slow.speech = Seconds{1.6};
    auto octave = fault(FaultKind::octave, 2);
    octave.interval = Cents{1200.0};
    survey.result.faults = {silent, skipped, slow, octave, fault(FaultKind::cipher, 1)};
    keeper.keep_all(survey, {});
    keeper.keep_all(survey, {});
    std::map<int, std::string> said;
    for (const Fault& one : kept<Fault>())
        said[one.pipe.key] += one.fault + ": " + one.words;
    EXPECT_EQ(said.size(), 4U);
    EXPECT_THAT(said[3], HasSubstr("dead"));
    EXPECT_THAT(said[6], HasSubstr("slow of speech: survey: 1.6 s"));
    EXPECT_THAT(said[2], HasSubstr("off speech: survey: sounds an octave high"));
    EXPECT_THAT(said[1], HasSubstr("ciphers"));
    EXPECT_EQ(kept<Fault>().size(), 4U);
    survey.result.faults = {slow};
    keeper.keep_all(survey, {});
    EXPECT_EQ(kept<Fault>().size(), 1U) << "what was mistaken is taken back";
}

TEST_F(SurveyKeeperTest, OfAnotherStopOfTwoAtOnceOrOfKeysPerhapsOneOffNothingIsKept) {
    for (const FaultKind kind :
         {FaultKind::wrong_stop, FaultKind::second_pipe, FaultKind::semitone_doubtful}) {
        SurveyKeeper keeper(*run);
        survey.result.faults.clear();
        play({{1, 9.0}, {2, 0.0}});
        keeper.keep_readings(survey);
        EXPECT_EQ(kept<KeptReading>().size(), 2U);
        tuning::SurveyFault whole;
        whole.kind = kind;
        whole.interval = Cents{-1200.0};
        survey.result.faults = {whole, fault(FaultKind::cipher, 2)};
        EXPECT_FALSE(why_not_kept(survey.result).empty());
        keeper.keep_all(survey, {out_of_tune(1)});
        EXPECT_THAT(kept<KeptReading>(), IsEmpty());
        EXPECT_THAT(kept<Fault>(), IsEmpty());
        EXPECT_THAT(proposed(), IsEmpty());
    }
}

TEST_F(SurveyKeeperTest, APlayThatWasBrokenOffIsRecalled) {
    play({{1, 1.0}, {2, -3.0}});
    SurveyKeeper(*run).keep_readings(survey);
    EXPECT_TRUE(broken_off(*run));
    SurveyKeeper later(*run);
    const auto tones = later.recall(kRate);
    ASSERT_EQ(tones.size(), 2U);
    EXPECT_LT(tones[0].left, tones[1].from);
    EXPECT_LT(tones[1].left, FrameIndex{});
    EXPECT_EQ(tones[1].pitch, survey.result.readings[1].tone.pitch);
    EXPECT_TRUE(tones[1].read);
    // Judged with what is played now, they aren't kept again.
    survey.result.readings.clear();
    for (std::size_t i = 0; i < 2; ++i) {
        survey.result.readings.push_back(reading(static_cast<int>(i) + 1, 0, 0.0));
        survey.result.readings[i].tone = tones[i];
        survey.result.readings[i].deviation =
            interval(survey.result.readings[i].target, tones[i].pitch);
    }
    survey.result.readings.push_back(reading(3, 3, 0.5));
    later.keep_readings(survey);
    EXPECT_EQ(run->record().entries().size(), 3U);

    for (int key = 4; key <= 12; ++key)
        survey.result.readings.push_back(reading(key, key, 0.0));
    later.keep_readings(survey);
    EXPECT_FALSE(broken_off(*run)) << "all were heard";
    EXPECT_TRUE(SurveyKeeper(*run).recall(kRate).empty());
}

TEST_F(SurveyKeeperTest, YesterdaysPartOfAPlayIsAnotherAir) {
    run->tell_time({Seconds{0.0}, wall_now() - std::chrono::hours(20)});
    play({{1, 1.0}, {2, -3.0}});
    SurveyKeeper(*run).keep_readings(survey);
    EXPECT_TRUE(SurveyKeeper(*run).recall(kRate).empty());
}

}  // namespace survey_keeper_test
}  // namespace rankwright::visit
