// A rank played through in a simulated chamber, heard and kept by the work as the program does it.
// Truth is what was planted, which key was down, and the chamber's own pitch of each pipe.
#include "app/simulated_chamber.h"
#include "app/work.h"
#include "organ/target.h"
#include "organ/tuning_order.h"
#include "simulator/chamber.h"
#include "support/small_organ.h"

#include <algorithm>
#include <cmath>
#include <memory>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::app {
namespace survey_work_test {

using ::testing::Contains;
using ::testing::HasSubstr;
using ViewStage = overlay::SurveyView::Stage;

constexpr double kRate = 24000.0;
constexpr int kKeys = 20;

/// A tuning book that is always there.
struct MemoryBook {
    std::vector<visit::BookEntry> entries;
    Book port() {
        return {[this](visit::BookEntry entry) { entries.push_back(std::move(entry)); },
                [this] { return std::uint64_t{entries.size()}; }, [] { return std::string(); },
                [] {}};
    }
};

struct SurveyWorkTest : ::testing::Test {
    organ::Instrument instrument = testing::two_stop_organ(kKeys);
    MemoryBook book;
    std::optional<simulator::Chamber> chamber;
    std::unique_ptr<Work> work;
    FrameIndex at;

    void open(std::uint64_t seed, const char* drawn = "octave", Cents mistuning = Cents{5.0}) {
        chamber.emplace(instrument,
                        simulator::Chamber::Parameters{
                            .rate = SampleRate{kRate}, .seed = seed, .mistuning = mistuning});
        chamber->draw_stop("great", drawn, true);
        sit_down();
        wait(0.8);
    }
    /// The work begins, or begins again with what the book has.
    void sit_down(SurveyWork::LastTime last_time = {}) {
        const auto stop = organ::stop_by_id(instrument, "great", "octave");
        work = std::make_unique<Work>(instrument, stop, organ::Day{},
                                      visit::RunOptions{visit::Job::survey}, Console{}, book.port(),
                                      visit::Record{book.entries}, MixtureEar::When::at_once,
                                      std::move(last_time));
    }
    void wait(double seconds) {
        for (double left = seconds; left > 0.0; left -= capture::kBlockFrames / kRate) {
            capture::CaptureBlock block;
            block.first = at;
            block.rate = SampleRate{kRate};
            block.frames = capture::kBlockFrames;
            chamber->render({block.samples.data(), block.frames});
            work->hear(block);
            at = at + static_cast<std::int64_t>(block.frames);
        }
    }
    void press(int key, double seconds = 1.8) {
        chamber->key_down("great", key);
        wait(seconds);
        chamber->key_up("great", key);
        wait(0.35);
    }
    overlay::Snapshot shown() { return work->snapshot({}); }
    overlay::SurveyView survey() { return *shown().survey; }
    const visit::PipeRecord& record(int key) const {
        return work->run().record().of(organ::pipe_of(work->run().stop(), key)->id);
    }
    /// In cents, from where it should stand at A 440.
    double truly_off(int key) const {
        const organ::Pipe pipe =
            *organ::pipe_of(organ::stop_by_id(instrument, "great", "octave"), key);
        return interval(organ::target(instrument, pipe, {}), chamber->true_pitch(pipe.id)).value();
    }
    double middle() const {
        std::vector<double> off;
        for (int key = 1; key <= kKeys; ++key)
            off.push_back(truly_off(key));
        std::sort(off.begin(), off.end());
        return 0.5 * (off[kKeys / 2 - 1] + off[kKeys / 2]);
    }
    /// 0.3 cent of wander, and a reading of a second and a half.
    void expect_read_rightly(int key) const {
        ASSERT_TRUE(record(key).survey) << key;
        const double heard = interval(Hertz{440.0}, record(key).survey->pitch).value();
        const organ::Pipe pipe =
            *organ::pipe_of(organ::stop_by_id(instrument, "great", "octave"), key);
        const double truth = interval(Hertz{440.0}, chamber->true_pitch(pipe.id)).value();
        EXPECT_NEAR(heard, truth, 1.2) << key;
    }
};

TEST_F(SurveyWorkTest, ReadingsPitchFaultsAndProposalsAreInTheBook) {
    open(11);
    chamber->put_mute_in({"great", "octave", 1, 12});  // it doesn't speak
    for (int key = 1; key <= kKeys; ++key) {
        if (key == 7) continue;
        press(key);
        if (key == 3) press(key);
        if (key == 9) chamber->say_next();
        if (key == 15) chamber->knock();
    }
    press(7);
    EXPECT_EQ(survey().stage, ViewStage::playing) << "one isn't heard";
    EXPECT_EQ(survey().heard, kKeys - 1);
    work->obey(visit::GoNext{});
    const overlay::Snapshot s = shown();
    EXPECT_EQ(s.survey->stage, ViewStage::done);
    EXPECT_EQ(s.kept_count, kKeys - 1);
    for (int key = 1; key <= kKeys; ++key) {
        if (key == 12) continue;
        expect_read_rightly(key);
        const double off = truly_off(key) - middle();
        const bool proposed = record(key).list == visit::ListState::proposed;
        EXPECT_TRUE(proposed || std::abs(off) <= 3.0) << key << ": " << off;
        EXPECT_TRUE(record(key).faults.empty()) << key;
    }
    EXPECT_FALSE(record(12).survey);
    ASSERT_EQ(record(12).faults.size(), 1U);
    EXPECT_EQ(record(12).faults[0].fault, "dead");
    // A of the visit: the pipes' own middle, which the chamber knows.
    ASSERT_TRUE(work->run().day().pitch);
    EXPECT_NEAR(interval(instrument.a, *work->run().day().pitch).value(), middle(), 3.0);
    EXPECT_TRUE(std::any_of(book.entries.begin(), book.entries.end(), [](const auto& entry) {
        const auto* pitch = std::get_if<visit::PitchReading>(&entry.matter);
        return pitch != nullptr && pitch->measured;
    }));
    EXPECT_EQ(s.survey->proposed,
              static_cast<int>(std::count_if(s.chest.begin(), s.chest.end(), [&](const auto& p) {
                  return record(p.key).list == visit::ListState::proposed;
              })));
}

TEST_F(SurveyWorkTest, TheScreenFollowsThePlay) {
    open(12);
    SurveyWork::LastTime last_time;
    last_time[{"great", "octave", 1, 5}].deviation = Cents{-2.5};
    sit_down(last_time);
    EXPECT_EQ(survey().heard, 0);
    for (int key = 1; key <= 4; ++key)
        press(key);
    chamber->key_down("great", 5);
    wait(1.2);
    overlay::Snapshot s = shown();
    EXPECT_TRUE(s.survey->sounding);
    EXPECT_EQ(s.key, 5);
    EXPECT_EQ(s.survey->heard, 4);
    ASSERT_TRUE(s.deviation && s.uncertainty);
    EXPECT_EQ(s.survey->last_time, Cents{-2.5});
    EXPECT_TRUE(s.chest[4].current);
    EXPECT_EQ(s.chest[4].last_time, Cents{-2.5});
    chamber->key_up("great", 5);
    wait(0.8);
    s = shown();
    EXPECT_FALSE(s.survey->sounding);
    EXPECT_EQ(s.key, 5);
    EXPECT_EQ(s.survey->heard, 5);
    EXPECT_EQ(s.kept_count, 5);
    ASSERT_TRUE(s.chest[4].deviation);
    EXPECT_NEAR(s.chest[4].deviation->value(), s.deviation->value(), 1e-9);
    EXPECT_THAT(s.survey->missing, HasSubstr(" to "));
    // A fault noted now is of the key heard last.
    work->obey(visit::NoteFault{"rattles or buzzes"});
    EXPECT_EQ(record(5).faults.size(), 1U);
}

// As after a crash: the work is gone, the book has what it had acknowledged.
TEST_F(SurveyWorkTest, APlayThatWasBrokenOffGoesOn) {
    open(13);
    for (int key = 1; key <= 12; ++key)
        press(key);
    EXPECT_GE(survey().heard, 11);
    sit_down();
    EXPECT_GE(survey().heard, 11);
    for (int key = 12; key <= kKeys; ++key)
        press(key);
    wait(3.0);
    EXPECT_EQ(survey().heard, kKeys);
    EXPECT_EQ(survey().stage, ViewStage::done) << "by itself, when all are heard";
    for (int key = 1; key <= kKeys; ++key)
        expect_read_rightly(key);
    EXPECT_NEAR(interval(instrument.a, *work->run().day().pitch).value(), middle(), 3.0);
}

TEST_F(SurveyWorkTest, LeftInTheMiddleItKeepsWhatIsKnown) {
    open(14);
    for (int key = 1; key <= 8; ++key)
        press(key);
    work->rest();
    const auto pitch =
        std::count_if(book.entries.begin(), book.entries.end(), [](const auto& entry) {
            return std::holds_alternative<visit::PitchReading>(entry.matter);
        });
    EXPECT_EQ(pitch, 1);
    for (int key = 1; key <= 8; ++key)
        expect_read_rightly(key);
}

TEST_F(SurveyWorkTest, OfAnotherStopNothingIsKeptAndItIsSaid) {
    open(15, "principal");
    for (int key = 1; key <= kKeys; ++key)
        press(key);
    work->obey(visit::GoNext{});
    const overlay::SurveyView view = survey();
    ASSERT_FALSE(view.findings.empty());
    EXPECT_EQ(view.findings.front(), "another stop is drawn");
    EXPECT_THAT(view.not_kept, HasSubstr("another stop"));
    for (int key = 1; key <= kKeys; ++key) {
        EXPECT_FALSE(record(key).survey) << key;
        EXPECT_FALSE(record(key).list) << key;
    }
}

// `chamber --job survey --input simulated`, faster than time: two stops, one after the other.
TEST(SurveyWork, TheSimulatedHelperPlaysStopAfterStop) {
    const organ::Instrument instrument = testing::two_stop_organ(kKeys);
    SimulatedChamber chamber = simulate_chamber(
        instrument, {.rate = SampleRate{kRate}, .seed = 4, .mistuning = Cents{4.0}}, false);
    MemoryBook book;
    visit::RunOptions options{visit::Job::survey};
    options.stops = {{"great", "octave"}, {"great", "principal"}};
    Work work(instrument, organ::tuning_order(instrument).front(), {}, options,
              std::move(chamber.console), book.port(), {}, MixtureEar::When::at_once);
    std::set<std::string> surveyed;
    double seconds = 0.0;
    while (surveyed.size() < 2 && seconds < 150.0) {
        capture::CaptureBlock block;
        ASSERT_TRUE(chamber.source->read(block, Seconds{1.0}));
        work.hear(block);
        seconds += duration(block.frames, block.rate).count();
        const overlay::Snapshot s = work.snapshot({});
        if (s.survey->stage != ViewStage::done) continue;
        EXPECT_EQ(s.survey->heard, kKeys) << s.stop;
        surveyed.insert(s.stop);
        work.obey(visit::GoNext{});
    }
    EXPECT_EQ(surveyed.size(), 2U) << "after " << seconds << " s";
    EXPECT_GT(seconds / (2.0 * kKeys), 1.8) << "a human pace";
    EXPECT_LT(seconds / (2.0 * kKeys), 3.0);
}

}  // namespace survey_work_test
}  // namespace rankwright::app
