// The work at a mixture as its people meet it: pipes that sound in a chamber, cloth in their tops,
// and a technician who sees nothing but what the window shows. Truth is the chamber's own pitch.
#include "app/technician.h"
#include "app/work.h"
#include "organ/target.h"
#include "simulator/chamber.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::app {
namespace mixture_work_test {

/// Keys below and from the break on.
constexpr int kBreak = 21;

organ::Composition rows_of(int first_key, const std::vector<std::string>& feet) {
    organ::Composition rows;
    rows.first_key = first_key;
    for (const std::string& one : feet)
        rows.rows.push_back(*organ::parse_footage(one));
    return rows;
}

organ::Instrument one_mixture(const std::vector<std::string>& feet,
                              const std::vector<std::string>& above) {
    organ::Stop stop;
    stop.id = "mixture";
    stop.name = "Mixture";
    organ::PipeMake make;
    make.device = organ::TuningDevice::sleeve;
    stop.makes = {{1, make}};
    stop.composition = {rows_of(1, feet)};
    if (!above.empty()) stop.composition.push_back(rows_of(kBreak, above));
    organ::Division division;
    division.id = "great";
    division.name = "Great";
    division.stops = {stop};
    organ::Instrument instrument;
    instrument.divisions = {division};
    return instrument;
}

/// A key of a mixture held in a chamber; time passes only when told.
class AtTheMixture {
  public:
    AtTheMixture(const std::vector<std::string>& feet, int key, std::uint64_t seed,
                 Cents mistuning = Cents{8.0}, double handling = 1.0,
                 const std::vector<std::string>& above = {})
        : instrument_(one_mixture(feet, above)),
          chamber_(instrument_, {.seed = seed, .mistuning = mistuning, .handling = handling}),
          work_(instrument_, organ::find_stop(instrument_, "Mixture").value(), day(),
                {visit::Job::mixture}, console(), {}, {}, MixtureEar::When::at_once) {
        chamber_.draw_stop("great", "mixture", true);
        work_.obey(visit::GoToKey{key});
    }

    void listen(double seconds) {
        for (int i = 0; i < std::lround(seconds * 48000.0 / capture::kBlockFrames); ++i)
            next_block();
    }
    /// Until the window shows it; false after `patience` seconds of sound.
    template <typename Condition>
    bool comes_true(Condition condition, double patience = 20.0) {
        for (int i = 0; i < std::lround(patience * 48000.0 / capture::kBlockFrames); ++i) {
            next_block();
            if (i % 8 == 0 && condition(shown())) return true;
        }
        return false;
    }
    /// Lets the technician work until the condition holds.
    template <typename Condition>
    bool works_until(Condition condition, double patience) {
        for (int i = 0; i < std::lround(patience * 48000.0 / capture::kBlockFrames); ++i) {
            next_block();
            if (i % 3 != 0) continue;
            const overlay::Snapshot now = shown();
            if (condition(now)) return true;
            if (const auto command = technician_.look(now, Seconds{now_s()})) work_.obey(*command);
        }
        return false;
    }
    overlay::Snapshot shown() { return work_.snapshot({}); }
    void obey(const visit::Command& command) { work_.obey(command); }
    simulator::Chamber& chamber() { return chamber_; }
    const visit::Run& run() const { return work_.run(); }
    PipeId pipe(int row, int key = 0) const {
        return {"great", "mixture", row, key == 0 ? work_.run().pipe().key : key};
    }
    /// From its target, with no hand near.
    double truly_off(const PipeId& id) const {
        for (const organ::Pipe& pipe : work_.run().pipes())
            if (pipe.id == id)
                return interval(organ::target(instrument_, pipe, day()), chamber_.true_pitch(id))
                    .value();
        return 1e9;
    }
    /// Exactly these pipes of the key in hand are muted.
    void mute(std::initializer_list<int> rows, std::optional<Decibels> leak = std::nullopt) {
        for (const PipeId& id : chamber_.muted())
            chamber_.take_mute_out(id);
        for (const int row : rows)
            chamber_.put_mute_in(pipe(row), leak);
    }
    void helper_takes(int key) {
        chamber_.key_up("great", held_);
        listen(0.4);
        chamber_.key_down("great", held_ = key);
    }

  private:
    static organ::Day day() {
        organ::Day day;
        day.pitch = Hertz{440.0};
        return day;
    }
    double now_s() const { return static_cast<double>(block_.first.value) / 48000.0; }
    void next_block() {
        block_.first = block_.first + static_cast<std::int64_t>(block_.frames);
        block_.frames = capture::kBlockFrames;
        chamber_.render(std::span(block_.samples).first(capture::kBlockFrames));
        work_.hear(block_);
    }
    Console console() {
        Console console;
        console.call = [this](const organ::Pipe& pipe, const std::optional<organ::Pipe>&) {
            if (held_ == pipe.key) return;
            if (held_ != 0) chamber_.key_up("great", held_);
            chamber_.key_down("great", held_ = pipe.key);
        };
        console.move_device = [this](const PipeId& pipe, Millimetres up) {
            chamber_.move_device(pipe, up);
        };
        console.place_mutes = [this](const std::set<PipeId>& wanted, std::optional<Decibels> leak) {
            for (const PipeId& pipe : chamber_.muted())
                if (wanted.count(pipe) == 0) chamber_.take_mute_out(pipe);
            for (const PipeId& pipe : wanted)
                chamber_.put_mute_in(pipe, std::exchange(leak, std::nullopt));
        };
        return console;
    }

    organ::Instrument instrument_;
    simulator::Chamber chamber_;
    int held_ = 0;
    capture::CaptureBlock block_;
    Work work_;
    ScreenReader technician_{1};
};

bool settled(const overlay::Snapshot& s) { return s.stage == overlay::Stage::settled; }

TEST(MixtureWork, TheTechnicianTunesEachPipeOfAKeyByTheScreenAlone) {
    AtTheMixture work({"2", "1 1/3", "1"}, 20, 4);
    std::map<int, double> before;
    for (const int row : {1, 2, 3})
        before[row] = std::abs(work.truly_off(work.pipe(row)));
    const int key = work.shown().key;
    ASSERT_TRUE(work.works_until([&](const auto& s) { return s.key != key; }, 240.0));
    for (const int row : {1, 2, 3}) {
        const PipeId id = work.pipe(row, key);
        EXPECT_LT(std::abs(work.truly_off(id)), 0.9) << row << ", before " << before[row];
        const auto list = work.run().record().of(id).list;
        EXPECT_TRUE(list == visit::ListState::done || list == visit::ListState::hear_again) << row;
    }
    // The next key: its other pipes are to be muted, those of the last one no more.
    EXPECT_EQ(work.shown().mixture->mutes_in, 2);
    const auto all_moved = [&](const auto&) {
        const std::vector<PipeId> in = work.chamber().muted();
        return in.size() == 2 &&
               std::none_of(in.begin(), in.end(), [&](const PipeId& id) { return id.key == key; });
    };
    EXPECT_TRUE(work.works_until(all_moved, 10.0));
}

// In a room the level of a pipe that is moved comes and goes by some decibels, and a small one has
// few partials beside its fundamental.
TEST(MixtureWork, PipesTunedInARoomAreNotSaidToFadeAndSeldomToBeDoubtfulByAnOctave) {
    for (const int key : {1, 25}) {
        AtTheMixture work({"1 1/3", "1", "2/3"}, key, 1);
        int looks = 0, fades = 0, doubtful = 0;
        work.works_until(
            [&](const overlay::Snapshot& s) {
                ++looks;
                for (const overlay::Notice& notice : s.notices) {
                    if (notice.words.find("fades") != std::string::npos) ++fades;
                    if (notice.words.find("octave") != std::string::npos) ++doubtful;
                }
                return false;
            },
            40.0);
        EXPECT_EQ(fades, 0) << key;
        EXPECT_LE(doubtful, looks / 20) << key;  // where one lies in a node of the room
    }
}

TEST(MixtureWork, TheKeyHeardWholeSendsToTheWorstPipesOnly) {
    AtTheMixture work({"2", "1 1/3", "1"}, 20, 6, Cents{0.0}, 0.0);
    // 7 cents flat of pure (a sleeve moved up), by the chamber's own count; the others are pure.
    while (work.truly_off(work.pipe(2)) > -7.0)
        work.chamber().move_device(work.pipe(2), Millimetres{0.05});
    work.obey(visit::HearWhole{});
    EXPECT_EQ(work.shown().mixture->mutes_in, 0);
    ASSERT_TRUE(work.comes_true([](const auto& s) { return s.mixture->heard_whole; }));
    const overlay::Snapshot s = work.shown();
    EXPECT_EQ(s.mixture->pipes[1].suspect, 1);
    EXPECT_NEAR(s.mixture->pipes[1].deviation->value(), work.truly_off(work.pipe(2)), 0.5);
    for (const std::size_t other : {0U, 2U}) {
        EXPECT_EQ(s.mixture->pipes[other].suspect, 0) << other;
        EXPECT_NEAR(s.mixture->pipes[other].deviation->value(), 0.0, 0.5) << other;
    }
    // Page down goes to that pipe, and from it to the next key, whole again.
    work.obey(visit::GoNext{});
    EXPECT_EQ(work.shown().mixture->in_hand, "1 1/3′");
    EXPECT_EQ(work.shown().mixture->mutes_in, 2);
    const int key = work.shown().key;
    work.obey(visit::GoNext{});
    EXPECT_NE(work.shown().key, key);
    EXPECT_TRUE(work.shown().mixture->none_muted);
}

// Beyond a break another number of rows stands on the key, two of them of one pitch.
TEST(MixtureWork, TheTechnicianGoesOverABreakToRowsThatDoubleAPitch) {
    AtTheMixture work({"1 1/3", "1"}, kBreak - 1, 12, Cents{8.0}, 0.0, {"2", "1 1/3", "1 1/3"});
    const auto beyond = [&](const auto& s) { return s.key == kBreak; };
    ASSERT_TRUE(work.works_until(beyond, 200.0)) << work.shown().key;
    const overlay::MixtureKey key = *work.shown().mixture;
    ASSERT_EQ(key.pipes.size(), 3U);
    EXPECT_EQ(key.pipes[0].pitch, "2′");
    EXPECT_EQ(key.pipes[1].pitch, "1 1/3′ row 2");
    EXPECT_EQ(key.pipes[2].pitch, "1 1/3′ row 3");
    EXPECT_EQ(key.mutes_in, 2);
    ASSERT_TRUE(work.works_until([&](const auto& s) { return s.key > kBreak; }, 300.0));
    for (const auto& [row, on] : {std::pair{1, kBreak - 1}, std::pair{2, kBreak - 1},
                                  std::pair{1, kBreak}, std::pair{2, kBreak}, std::pair{3, kBreak}})
        EXPECT_LT(std::abs(work.truly_off(work.pipe(row, on))), 0.9)
            << "row " << row << " of " << on;
}

// Which of two rows of one pitch is off isn't heard: common practice, no source.
TEST(MixtureWork, OfTwoRowsOfOnePitchBothAreGoneToWhenOneIsOff) {
    AtTheMixture work({"1"}, kBreak, 6, Cents{0.0}, 0.0, {"2", "1 1/3", "1 1/3"});
    while (work.truly_off(work.pipe(3)) > -7.0)
        work.chamber().move_device(work.pipe(3), Millimetres{0.05});
    work.obey(visit::HearWhole{});
    ASSERT_TRUE(work.comes_true([](const auto& s) { return s.mixture->heard_whole; }));
    const overlay::Snapshot s = work.shown();
    EXPECT_EQ(s.mixture->pipes[0].suspect, 0);
    EXPECT_EQ(s.mixture->pipes[1].suspect + s.mixture->pipes[2].suspect, 3) << "first and second";
    EXPECT_EQ(s.mixture->pipes[1].either, "row 2 or 3");
    for (const char* in_hand : {"1 1/3′ row", "1 1/3′ row"}) {
        work.obey(visit::GoNext{});
        EXPECT_EQ(work.shown().mixture->in_hand.find(in_hand), 0U);
        EXPECT_EQ(work.shown().key, kBreak);
        EXPECT_EQ(work.shown().mixture->mutes_in, 2);
    }
    work.obey(visit::GoNext{});
    EXPECT_GT(work.shown().key, kBreak);
}

// In unison with its double a row has no beat of its own: nothing to wait for.
TEST(MixtureWork, TheScreenSaysWhatToDoAboutAPipeThatCantBeTold) {
    AtTheMixture work({"1"}, kBreak, 6, Cents{0.0}, 0.0, {"2", "1 1/3", "1 1/3"});
    work.obey(visit::HearWhole{});
    ASSERT_TRUE(work.comes_true([](const auto& s) { return s.mixture->heard_whole; }));
    work.mute({3});
    ASSERT_TRUE(work.comes_true([](const auto& s) {
        return std::any_of(s.mixture->pipes.begin(), s.mixture->pipes.end(),
                           [](const auto& pipe) { return !pipe.untold.empty(); });
    }));
    const overlay::MixtureKey key = *work.shown().mixture;
    EXPECT_NE(key.to_tell.find("may hide behind 1 1/3′ row"), std::string::npos) << key.to_tell;
    EXPECT_NE(key.to_tell.find("mute that"), std::string::npos) << key.to_tell;
}

TEST(MixtureWork, APipeOfThisKeyThatSoundsInsteadIsNamed) {
    AtTheMixture work({"2", "1 1/3", "1"}, 20, 8);
    for (const auto& [row, name] : {std::pair{2, "1 1/3′"}, std::pair{3, "1′"}}) {
        work.mute({1, 5 - row});
        EXPECT_TRUE(work.comes_true([&, wanted = std::string(name)](const auto& s) {
            return s.stage == overlay::Stage::wrong_key && s.mixture->instead == wanted;
        })) << name;
        work.listen(4.0);  // also once the whole key was heard
        EXPECT_EQ(work.shown().mixture->instead, name);
        EXPECT_FALSE(settled(work.shown()));
    }
}

TEST(MixtureWork, APipeOfTheNeighbourKeyIsNamed) {
    AtTheMixture work({"2", "1 1/3", "1"}, 20, 9);
    work.mute({2, 3});
    ASSERT_TRUE(work.comes_true([](const auto& s) { return s.stage == overlay::Stage::reading; }));
    // The helper slips to the next key, whose upper rows are muted too.
    for (const int row : {2, 3})
        work.chamber().put_mute_in(work.pipe(row, 21));
    work.helper_takes(21);
    EXPECT_TRUE(work.comes_true([&](const auto& s) {
        return s.stage == overlay::Stage::wrong_key && s.mixture->instead == "2′ of tenor G♯";
    })) << work.shown().mixture->instead;
}

TEST(MixtureWork, MutesThatAreMissingAreNamed) {
    AtTheMixture work({"2", "1 1/3", "1"}, 20, 10);
    work.mute({});
    EXPECT_TRUE(work.comes_true([](const auto& s) {
        return s.stage == overlay::Stage::wrong_key && s.mixture->to_mute == "1 1/3′, 1′";
    })) << work.shown().mixture->to_mute;
    work.mute({3});
    EXPECT_TRUE(work.comes_true([](const auto& s) {
        return s.stage == overlay::Stage::wrong_key && s.mixture->to_mute == "1 1/3′";
    })) << work.shown().mixture->to_mute;
    work.mute({2, 3});
    EXPECT_TRUE(work.comes_true([](const auto& s) { return s.stage == overlay::Stage::reading; }));
}

// The 1 1/3′ pipe's second partial meets the 2/3′ pipe itself (ratio 2:1): some cents apart they
// beat several times a second, as strongly as either sounds.
TEST(MixtureWork, MutesThatAreMissingAreSaidThoughThePipesBeatTooFastForOneTone) {
    for (const std::uint64_t seed : {6U, 8U, 15U, 17U, 19U, 24U}) {
        AtTheMixture work({"1 1/3", "1", "2/3"}, 1, seed);
        work.mute({});
        EXPECT_TRUE(work.comes_true(
            [](const auto& s) {
                return s.stage == overlay::Stage::wrong_key && s.mixture->to_mute == "1′, 2/3′";
            },
            8.0))
            << "seed " << seed << ": " << work.shown().mixture->to_mute;
        EXPECT_FALSE(work.comes_true(
            [](const auto& s) {
                return std::any_of(s.notices.begin(), s.notices.end(), [](const auto& notice) {
                    return notice.words.find("Wind is heard") != std::string::npos;
                });
            },
            4.0))
            << "seed " << seed;
    }
}

TEST(MixtureWork, ALeakIsSaidInWordsUntilTheMuteIsPressedHome) {
    AtTheMixture work({"2", "1 1/3", "1"}, 20, 14);
    work.mute({3});
    work.chamber().put_mute_in(work.pipe(2), Decibels{-20.0});
    const auto words = [](const overlay::Snapshot& s) {
        return std::any_of(s.notices.begin(), s.notices.end(), [](const overlay::Notice& notice) {
            return notice.words.find("1 1/3′ leaks") != std::string::npos;
        });
    };
    ASSERT_TRUE(work.comes_true(words));
    ASSERT_TRUE(work.shown().mixture->pipes[1].leak);
    EXPECT_FALSE(work.shown().mixture->pipes[2].leak);
    work.obey(visit::MoveMutes{});
    EXPECT_TRUE(work.comes_true([&](const auto& s) { return !words(s); }));
}

TEST(MixtureWork, ASettledPipesMuteMovesTheRunOn) {
    AtTheMixture work({"2", "1 1/3", "1"}, 20, 12, Cents{0.0});
    work.mute({2, 3});
    ASSERT_TRUE(work.comes_true(settled));
    EXPECT_EQ(work.shown().mixture->in_hand, "2′");
    work.mute({1, 3});  // hands-free: the mute from the next pipe goes into this one
    EXPECT_TRUE(work.comes_true([](const auto& s) { return s.mixture->in_hand == "1 1/3′"; }));
    ASSERT_TRUE(work.comes_true(settled));
    work.mute({1, 2});
    EXPECT_TRUE(work.comes_true([](const auto& s) { return s.mixture->in_hand == "1′"; }));
    ASSERT_TRUE(work.comes_true(settled));
    const int next = work.run().pipes()[work.run().current() + 1].key;
    work.helper_takes(next);
    EXPECT_TRUE(work.comes_true([&](const auto& s) { return s.key == next; }));
}

TEST(MixtureWork, OfTwoPipesOfOnePitchTheOneThatIsLeftOpenIsTuned) {
    AtTheMixture work({"2", "1", "1"}, 20, 13);
    work.obey(visit::GoNext{});
    EXPECT_EQ(work.shown().mixture->in_hand, "1′ row 2");
    work.mute({1, 3});
    ASSERT_TRUE(work.comes_true([](const auto& s) {
        return s.stage == overlay::Stage::reading && s.heard > Seconds{3.0};
    }));
    EXPECT_NEAR(work.shown().deviation->value(), work.truly_off(work.pipe(2)), 0.6);
    EXPECT_EQ(work.shown().mixture->to_mute, "");
}

}  // namespace mixture_work_test
}  // namespace rankwright::app
