// What comes on the list and why. What belongs on it, and in which order it is worked at, is the
// trade's (common practice, no source). Beats are counted from the definition of the cent (Ellis
// 1885): f (2^(c/1200) − 1), pitches from MIDI's A 440 (f = 440 · 2^((m − 69) / 12)).
#include "visit/work_list.h"

#include "support/plain_rank.h"

#include <algorithm>
#include <cmath>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::visit {
namespace work_list_test {

using ::testing::ElementsAre;
using ::testing::HasSubstr;
using ::testing::IsEmpty;

using testing::plain_rank;

struct WorkListTest : ::testing::Test {
    WorkListTest() {
        organ::Division great;
        great.id = "great";
        great.name = "Great";
        great.chest = organ::ChestArrangement::sides_tall_out;
        great.stops = {plain_rank("trumpet-8", "Trumpet 8′", "8", "octave-4"),
                       plain_rank("principal-8", "Principal 8′", "8", "octave-4"),
                       plain_rank("octave-4", "Octave 4′", "4")};
        great.stops[0].makes.front().make.kind = organ::PipeKind::reed_full;
        great.stops[0].tuned_from.push_back({13, "great", "trumpet-8", -12});
        organ::Division swell;
        swell.id = "swell";
        swell.name = "Swell";
        swell.level = 2;
        swell.chest = organ::ChestArrangement::chromatic;
        swell.stops = {plain_rank("gamba-8", "Gamba 8′", "8")};
        instrument.divisions = {swell, great};
    }

    void add(BookMatter matter) {
        entries.push_back({entries.size() + 1,
                           WallTime{std::chrono::seconds{1'795'000'000 + 10 * entries.size()}},
                           std::move(matter)});
    }
    void hear(const PipeId& pipe, double cents, Moment moment = Moment::survey) {
        const organ::Pipe known = find(pipe);
        KeptReading one;
        one.pipe = pipe;
        one.moment = moment;
        one.target = organ::target(instrument, known, {});
        one.deviation = Cents{cents};
        one.pitch = transpose(one.target, one.deviation);
        one.uncertainty = Cents{0.05};
        one.settled = moment == Moment::after && std::abs(cents) <= 0.5;
        add(one);
    }
    organ::Pipe find(const PipeId& id) const {
        return *organ::pipe_of(organ::stop_by_id(instrument, id.division, id.stop), id.key, id.row);
    }
    /// A rank in tune but for `off`.
    void survey(const char* stop, std::map<int, double> off, double all = 0.0) {
        for (int key = 1; key <= 61; ++key)
            hear({"great", stop, 1, key}, all + (off.count(key) > 0 ? off[key] : 0.02 * (key % 3)));
    }
    WorkList list() const { return work_list(instrument, entries, history); }
    const ListedPipe* listed(const WorkList& in, const PipeId& id) const {
        const auto found = std::find_if(in.pipes.begin(), in.pipes.end(),
                                        [&](const auto& one) { return one.pipe.id == id; });
        return found == in.pipes.end() ? nullptr : &*found;
    }
    std::vector<std::string> names() const {
        std::vector<std::string> out;
        for (const ListedPipe& one : list().pipes)
            out.push_back(to_string(one.pipe.id));
        return out;
    }
    std::vector<std::string> feet() const {
        std::vector<std::string> out;
        for (const organ::Pipe& pipe : for_the_feet(instrument, list()))
            out.push_back(to_string(pipe.id));
        return out;
    }

    organ::Instrument instrument;
    std::vector<BookEntry> entries;
    ListHistory history;
};

TEST_F(WorkListTest, WithoutEntriesThereIsNothingToDo) {
    EXPECT_THAT(list().pipes, IsEmpty());
    EXPECT_EQ(list().to_do(), 0U);
}

TEST_F(WorkListTest, ASurveyPutsWhatIsHeardOutOfTuneOnItTheMostAudibleFirst) {
    survey("octave-4", {{25, 5.0}, {49, -1.0}});
    ASSERT_THAT(names(), ElementsAre("great/octave-4/1/25", "great/octave-4/1/49"));
    const WorkList made = list();
    const double beat = 440.0 * std::exp2((72 - 69) / 12.0) * (std::exp2(5.0 / 1200.0) - 1.0);
    EXPECT_NEAR(beat, 1.5, 0.05) << "as the words say";
    EXPECT_THAT(made.pipes[0].why,
                ElementsAre("5.0 cents sharp: beats 1.5 a second with the ensemble"));
    EXPECT_NEAR(made.pipes[0].off->value(), 5.0, 0.05);
    EXPECT_GT(made.pipes[0].audibility, made.pipes[1].audibility);
    EXPECT_EQ(made.pipes[0].state, ListState::proposed);
}

// An octave above its reference, each beat is heard twice as fast against its second partial.
TEST_F(WorkListTest, TellsTheBeatWithTheReferenceToo) {
    survey("principal-8", {{25, 4.0}});
    const WorkList made = list();
    ASSERT_EQ(made.pipes.size(), 1U);
    EXPECT_THAT(made.pipes[0].why[0], HasSubstr("beats 0.61 a second with the ensemble, 1.2 a "
                                                "second with its reference"));
}

TEST_F(WorkListTest, ARankGoneOneWayIsARemarkNotSixtyPipes) {
    survey("octave-4", {{25, 3.0}}, -6.0);
    const WorkList made = list();
    ASSERT_THAT(made.remarks, ElementsAre(HasSubstr("Great · Octave 4′ stands 6.0 cents flat as a "
                                                    "whole")));
    ASSERT_EQ(made.pipes.size(), 1U) << "only the one that stands otherwise";
    EXPECT_EQ(made.pipes[0].pipe.id.key, 25);
    EXPECT_NEAR(made.pipes[0].off->value(), 3.0, 0.1) << "from where its rank stands";
}

TEST_F(WorkListTest, TheTechnicianAddsDropsAndMarksAndTheClientComplains) {
    const PipeId off{"great", "octave-4", 1, 25}, wanted{"great", "octave-4", 1, 30},
        reached{"great", "octave-4", 1, 31}, complained{"swell", "gamba-8", 1, 13};
    hear(off, 5.0);
    add(ListChange{off, ListState::dropped});
    add(ListChange{wanted, ListState::wanted});
    hear(reached, 8.0);
    add(OutOfReach{reached, true});
    add(Remark{StopId{"swell", "gamba-8"}, 13, "growls in the Psalm", true});
    add(Remark{StopId{"great", "trumpet-8"}, {}, "too fat", true});
    add(Remark{{}, {}, "nice day", false});
    const WorkList made = list();
    EXPECT_THAT(names(), ElementsAre("swell/gamba-8/1/13", "great/octave-4/1/30",
                                     "great/octave-4/1/31", "great/octave-4/1/25"));
    EXPECT_EQ(made.to_do(), 2U);
    EXPECT_THAT(made.pipes[0].why, ElementsAre("complaint: growls in the Psalm"));
    EXPECT_THAT(made.pipes[1].why, ElementsAre("added by hand"));
    EXPECT_EQ(made.pipes[2].why.front(), "out of reach");
    EXPECT_EQ(made.pipes[3].why.front(), "dropped");
    EXPECT_THAT(made.remarks, ElementsAre("complaint about Great · Trumpet 8′: too fat"));
    EXPECT_THAT(feet(), ElementsAre("great/octave-4/1/30", "swell/gamba-8/1/13"));
    add(ListChange{off, ListState::wanted});
    add(OutOfReach{reached, false});
    EXPECT_EQ(list().to_do(), 4U) << "taken back";
}

TEST_F(WorkListTest, WhatIsUndoneCountsNoMore) {
    add(ListChange{{"great", "octave-4", 1, 30}, ListState::wanted});
    add(Withdrawal{1});
    EXPECT_THAT(list().pipes, IsEmpty());
}

TEST_F(WorkListTest, DonePipesLeaveItAndOpenOnesStay) {
    const PipeId one{"great", "octave-4", 1, 25}, two{"great", "octave-4", 1, 26},
        warm{"great", "octave-4", 1, 27};
    for (const PipeId& pipe : {one, two, warm})
        hear(pipe, 5.0);
    hear(one, 0.1, Moment::after);
    add(ListChange{one, ListState::done});
    hear(two, 2.0, Moment::after);
    add(ListChange{two, ListState::open});
    hear(warm, 0.2, Moment::after);
    add(ListChange{warm, ListState::hear_again});
    const PipeId reed{"great", "trumpet-8", 1, 27};
    hear(reed, 0.2, Moment::after);
    add(ListChange{reed, ListState::hear_again});
    const WorkList made = list();
    EXPECT_EQ(made.done, 1U);
    EXPECT_EQ(listed(made, one), nullptr);
    ASSERT_NE(listed(made, two), nullptr);
    EXPECT_THAT(listed(made, two)->why,
                ElementsAre("left open", HasSubstr("2.0 cents sharp: beats")));
    ASSERT_NE(listed(made, warm), nullptr);
    EXPECT_THAT(listed(made, warm)->why.front(), HasSubstr("warm from the hand"));
    ASSERT_NE(listed(made, reed), nullptr);
    EXPECT_THAT(listed(made, reed)->why.front(), HasSubstr("its wire"));
    add(ListChange{one, ListState::wanted});
    EXPECT_NE(listed(list(), one), nullptr) << "wanted once more";
    add(ListChange{one, ListState::done});
    EXPECT_EQ(listed(list(), one), nullptr);
    add(Remark{StopId{"great", "octave-4"}, 25, "still sour", true});
    EXPECT_NE(listed(list(), one), nullptr) << "the client isn't content";
    hear(one, 0.1, Moment::after);
    EXPECT_EQ(listed(list(), one), nullptr);
}

TEST_F(WorkListTest, ACutOffWorkKnowsWhatHadSettled) {
    const PipeId one{"great", "octave-4", 1, 25};
    hear(one, 5.0);
    add(ListChange{one, ListState::proposed});
    hear(one, 0.1, Moment::after);
    EXPECT_EQ(list().done, 1U);
    EXPECT_EQ(listed(list(), one), nullptr);
}

TEST_F(WorkListTest, FaultsAreOnItDeadAndCipheringPipesFirst) {
    hear({"great", "octave-4", 1, 25}, 5.0);
    add(Fault{{"great", "octave-4", 1, 5}, "slow of speech", "only when cold"});
    add(Fault{{"great", "octave-4", 1, 6}, "dead", ""});
    EXPECT_EQ(names().front(), "great/octave-4/1/6");
    EXPECT_THAT(listed(list(), {"great", "octave-4", 1, 5})->why,
                ElementsAre("slow of speech: only when cold"));
}

// 18 °C both times: the air did nothing, so what moved moved by itself.
TEST_F(WorkListTest, ProposesWhatMovedMostSinceLastTime) {
    const auto dated = [&](int key, double cents, bool before) {
        hear({"great", "octave-4", 1, key}, cents, before ? Moment::after : Moment::survey);
        DatedReading one;
        one.reading = std::get<KeptReading>(entries.back().matter);
        one.at = WallTime{std::chrono::seconds{1'777'700'000}};  // 2 May 2026
        one.day.pitch = Hertz{440.0};
        one.a_measured = true;
        return one;
    };
    for (int key = 1; key <= 61; ++key)
        history.left[{"great", "octave-4", 1, key}] = dated(key, 0.0, true);
    entries.clear();
    add(PitchReading{Hertz{440.0}, true});
    for (int key = 1; key <= 61; ++key)
        hear({"great", "octave-4", 1, key}, key == 20 ? -6.0 : 0.02 * (key % 5));
    const WorkList made = list();
    ASSERT_EQ(made.pipes.size(), 1U);
    EXPECT_EQ(made.pipes[0].pipe.id.key, 20);
    EXPECT_THAT(made.pipes[0].why, ElementsAre(HasSubstr("6.0 cents flat: beats"),
                                               "moved 6.0 cents flatter since May 2026"));

    // Before anything is heard, what moved between the visits before is proposed.
    entries.clear();
    history.left.clear();
    RankDrift rank;
    rank.stop = {"great", "octave-4"};
    rank.pipes.push_back({});
    rank.pipes[0].pipe = {"great", "octave-4", 1, 20};
    rank.pipes[0].since = WallTime{std::chrono::seconds{1'777'700'000}};
    rank.pipes[0].own = Cents{7.0};
    rank.pipes[0].astray = true;
    history.earlier = {rank};
    ASSERT_THAT(names(), ElementsAre("great/octave-4/1/20"));
    EXPECT_THAT(list().pipes[0].why,
                ElementsAre("moved 7.0 cents sharper between May 2026 and the last visit"));
    hear({"great", "octave-4", 1, 20}, 0.1);
    EXPECT_THAT(names(), IsEmpty()) << "today it stands";
}

// C side: C D E F♯ G♯ A♯. Key 1 is CC. From the left one comes to the C♯ side's trebles first; the
// trumpet's are tuned from its own octave below.
TEST_F(WorkListTest, ForTheFeetReferencesComeFirstReedsLastOneChestSideAfterTheOther) {
    for (const PipeId& pipe : std::vector<PipeId>{{"great", "trumpet-8", 1, 26},
                                                  {"great", "trumpet-8", 1, 14},
                                                  {"swell", "gamba-8", 1, 1},
                                                  {"great", "principal-8", 1, 2},
                                                  {"great", "principal-8", 1, 1},
                                                  {"great", "principal-8", 1, 3},
                                                  {"great", "octave-4", 1, 60}})
        add(ListChange{pipe, ListState::wanted});
    const auto order = feet();
    EXPECT_THAT(order,
                ElementsAre("great/octave-4/1/60", "great/principal-8/1/1", "great/principal-8/1/3",
                            "great/principal-8/1/2", "swell/gamba-8/1/1", "great/trumpet-8/1/14",
                            "great/trumpet-8/1/26"));
}

TEST_F(WorkListTest, ToldBeforeTheWorkThatAReferenceIsItselfOff) {
    hear({"great", "octave-4", 1, 25}, -2.1);
    add(ListChange{{"great", "octave-4", 1, 25}, ListState::dropped});
    add(ListChange{{"great", "principal-8", 1, 25}, ListState::wanted});
    EXPECT_THAT(list().pipes[0].why,
                ElementsAre("added by hand",
                            "its reference, Octave 4′ middle C, stands 2.1 cents "
                            "flat"));
}

TEST_F(WorkListTest, PipesTheInstrumentDoesNotHaveArePassedOver) {
    add(ListChange{{"choir", "flute-4", 1, 3}, ListState::wanted});
    add(Remark{StopId{"choir", "flute-4"}, 3, "gone", true});
    EXPECT_THAT(list().pipes, IsEmpty());
    EXPECT_THAT(list().remarks, ElementsAre(HasSubstr("gone")));
}

TEST_F(WorkListTest, WhatTheLastVisitLeftOpenComesFirstAgain) {
    const PipeId open{"great", "octave-4", 1, 30}, wanted{"great", "octave-4", 1, 31},
        done{"great", "octave-4", 1, 32};
    hear(open, 6.0, Moment::before);
    hear(open, 2.0, Moment::after);
    add(ListChange{open, ListState::open});
    add(ListChange{wanted, ListState::wanted});
    hear(done, 6.0, Moment::before);
    hear(done, 0.1, Moment::after);
    add(ListChange{done, ListState::done});
    history.open = left_open(entries);
    history.left = readings_of("1", entries).left;
    entries.clear();
    ASSERT_EQ(history.open.size(), 2U);
    WorkList next = list();
    ASSERT_EQ(next.pipes.size(), 2U);
    EXPECT_EQ(next.pipes[0].pipe.id, open) << "it was left 2 cents off: more than nothing is known";
    EXPECT_THAT(next.pipes[0].why, ElementsAre("left open in November 2026"));
    // Heard in tune, it needs nothing more; heard off, it does.
    hear(open, 0.1);
    hear(wanted, 4.0);
    next = list();
    EXPECT_EQ(listed(next, open), nullptr);
    ASSERT_NE(listed(next, wanted), nullptr);
    EXPECT_THAT(listed(next, wanted)->why, ::testing::Contains("left open in November 2026"));
}

}  // namespace work_list_test
}  // namespace rankwright::visit
