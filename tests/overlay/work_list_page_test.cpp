// The work list, the calls to come, the checks and the pages written, as presses and pictures.
#include "overlay/drawing.h"
#include "overlay/examples.h"
#include "overlay/overlay.h"

#include <variant>

#include <gtest/gtest.h>

namespace rankwright::overlay {
namespace work_list_page_test {

using visit::ListState;

struct WorkListPageTest : ::testing::Test {
    Drawing drawing{{1280, 800}};
    Snapshot snapshot = examples::over_the_list();

    static KeyPress letter(char c) { return {Key::character, c, false, false, 0}; }
    static KeyPress named(Key key) { return {key, 0, false, false, 0}; }
    std::vector<visit::Command> press(const KeyPress& key) { return drawing.press(key, snapshot); }
    /// As the window passes it on: the press, then the letter it made.
    std::vector<visit::Command> type(std::u32string_view letters) {
        std::vector<visit::Command> all;
        for (const char32_t c : letters) {
            press(letter(c < 128 ? static_cast<char>(c) : '\0'));
            for (auto& one : press({Key::text, 0, false, false, c}))
                all.push_back(one);
        }
        return all;
    }
    /// The one entry that a press asks to be noted.
    template <typename Matter>
    Matter noted(const KeyPress& key) {
        const auto commands = press(key);
        if (commands.size() != 1) return ADD_FAILURE() << commands.size() << " commands", Matter{};
        return std::get<Matter>(std::get<visit::Note>(commands.front()).matter);
    }
    PipeId gone_to(const KeyPress& key) {
        const auto commands = press(key);
        if (commands.size() != 1) return ADD_FAILURE() << commands.size() << " commands", PipeId{};
        return std::get<visit::GoToPipe>(commands.front()).pipe;
    }
    float size_of(const char* words) const {
        const DrawnText* text = drawing.largest(words);
        return text == nullptr ? 0.0F : text->em;
    }
};

TEST_F(WorkListPageTest, ShowsWhatIsToDoLargeEnoughForTheLadder) {
    EXPECT_TRUE(press(letter('l')).empty());
    for (const char* words : {"6 to do, 11 done", "middle G", "middle C"})
        EXPECT_GE(size_of(words), 54.0F) << words;
    EXPECT_TRUE(drawing.says("5.0 cents sharp: beats 1.1 a second"));
    EXPECT_TRUE(drawing.says("stands 4.1 cents flat as a whole"));
    EXPECT_TRUE(press(named(Key::escape)).empty());
    EXPECT_FALSE(drawing.says("11 done")) << "back at the work";
    EXPECT_TRUE(drawing.says("6 to do"));
}

TEST_F(WorkListPageTest, BeginsAtThePipeInHandAndGoesToTheOneThatIsLit) {
    press(letter('l'));
    EXPECT_EQ(gone_to(named(Key::enter)), (PipeId{"great", "principal-8", 1, 32}));
    press(letter('l'));
    press(named(Key::down));
    // In the order for the feet, since the run goes over the list.
    EXPECT_EQ(gone_to(letter('.')), (PipeId{"great", "gamba-8", 1, 7})) << "the remote's point";
    press(letter('l'));
    press(letter('o'));
    press(named(Key::page_up));
    EXPECT_EQ(gone_to(named(Key::enter)), (PipeId{"great", "trumpet-8", 1, 20}))
        << "the most audible first";
}

TEST_F(WorkListPageTest, DropsWantsAndMarksAndStaysOpen) {
    press(letter('l'));
    const auto dropped = noted<visit::ListChange>(letter('d'));
    EXPECT_EQ(dropped.pipe, (PipeId{"great", "principal-8", 1, 32}));
    EXPECT_EQ(dropped.state, ListState::dropped);
    EXPECT_EQ(noted<visit::ListChange>(letter('w')).state, ListState::wanted);
    EXPECT_TRUE(noted<visit::OutOfReach>(letter('x')).out_of_reach);
    const auto calls = press(letter('p'));
    ASSERT_EQ(calls.size(), 1U);
    EXPECT_EQ(std::get<visit::WritePage>(calls.front()).what, visit::WritePage::What::calls);
    EXPECT_TRUE(drawing.says("11 done"));
}

TEST_F(WorkListPageTest, TheLitPipeStaysLitWhenTheListChangesUnderIt) {
    press(letter('l'));
    ListPage changed = *snapshot.list;
    std::reverse(changed.walking.begin(), changed.walking.end());
    snapshot.list = std::make_shared<const ListPage>(changed);
    EXPECT_EQ(gone_to(named(Key::enter)), (PipeId{"great", "principal-8", 1, 32}));
}

TEST_F(WorkListPageTest, AComplaintIsTypedInAnyLetters) {
    press(letter('l'));
    EXPECT_TRUE(type(U"c").empty());
    EXPECT_TRUE(type(U"Brüllt, d & x ♯").empty());
    EXPECT_TRUE(drawing.says("Brüllt"));
    press(named(Key::erase));
    const auto said = noted<visit::Remark>(named(Key::enter));
    EXPECT_EQ(said.words, "Brüllt, d & x ");
    EXPECT_TRUE(said.complaint);
    EXPECT_EQ(said.stop, (StopId{"great", "principal-8"}));
    EXPECT_EQ(said.key, 32);
    type(U"cno");
    EXPECT_TRUE(press(named(Key::escape)).empty()) << "nothing noted";
    EXPECT_TRUE(drawing.says("11 done")) << "back at the list";
}

TEST_F(WorkListPageTest, ThePipeInHandCanBePutOnTheList) {
    ListPage page = *snapshot.list;
    ListLine in_hand;
    in_hand.pipe = snapshot.pipe = {"great", "octave-4", 1, 3};
    in_hand.listed = in_hand.to_do = false;
    page.lines.push_back(in_hand);
    page.walking.insert(page.walking.begin(), page.lines.size() - 1);
    snapshot.list = std::make_shared<const ListPage>(page);
    press(letter('l'));
    EXPECT_TRUE(press(letter('d')).empty()) << "it isn't on it";
    EXPECT_EQ(noted<visit::ListChange>(letter('w')).pipe, snapshot.pipe);
}

TEST_F(WorkListPageTest, AnEmptyListSaysWhereItComesFrom) {
    snapshot.list = std::make_shared<const ListPage>();
    press(letter('l'));
    EXPECT_TRUE(drawing.says("Nothing is on the list"));
    EXPECT_TRUE(press(named(Key::enter)).empty());
    snapshot.list.reset();
    press(letter('l'));
    EXPECT_TRUE(press(named(Key::down)).empty());
}

TEST_F(WorkListPageTest, TheCallsToComeAreShownWhileTheWorkGoesOn) {
    EXPECT_TRUE(press(letter('n')).empty());
    EXPECT_GE(size_of("middle G"), 80.0F) << "now";
    EXPECT_GE(size_of("FF♯"), 54.0F) << "later";
    EXPECT_TRUE(drawing.says("and tenor C, key 13"));
    const auto next = press(named(Key::page_down));
    ASSERT_EQ(next.size(), 1U);
    EXPECT_TRUE(std::holds_alternative<visit::GoNext>(next.front()));
    EXPECT_TRUE(drawing.says("and tenor C, key 13"));
    EXPECT_TRUE(press(named(Key::escape)).empty());
    EXPECT_FALSE(drawing.says("and tenor C, key 13"));
}

TEST_F(WorkListPageTest, TheCallPanelSaysWhichStopComesNext) {
    drawing.draw(snapshot);
    EXPECT_TRUE(drawing.says("Trumpet 8′"));
    snapshot.stage = Stage::settled;
    drawing.draw(snapshot);
    EXPECT_TRUE(drawing.says("draw next"));
    EXPECT_GE(size_of("FF♯"), 54.0F);
}

TEST_F(WorkListPageTest, AKeyWritesTheReportAndTheScreenSaysWhere) {
    const auto commands = press(letter('r'));
    ASSERT_EQ(commands.size(), 1U);
    EXPECT_EQ(std::get<visit::WritePage>(commands.front()).what, visit::WritePage::What::report);
    snapshot.page_written = "Written: /home/somebody/emberlow-2026-11-26.html";
    drawing.draw(snapshot);
    EXPECT_TRUE(drawing.says("emberlow-2026-11-26.html"));
}

TEST_F(WorkListPageTest, ChecksAreAskedOnceTickedByDigitsAndNoted) {
    snapshot.ask_checks = true;
    drawing.draw(snapshot);
    for (const char* words : {"wind up, and steady", "mutes counted"})
        EXPECT_GE(size_of(words), 54.0F) << words;
    EXPECT_TRUE(drawing.says("hearing"));
    for (const char digit : {'1', '4', '4', '6'})
        EXPECT_TRUE(press(letter(digit)).empty());
    const auto said = noted<visit::Remark>(named(Key::page_down));
    EXPECT_EQ(said.words, "checked before the work: wind up, and steady; mutes counted");
    EXPECT_FALSE(said.complaint);
    drawing.draw(snapshot);
    EXPECT_FALSE(drawing.says("mutes counted")) << "asked once";
    press(letter('k'));
    EXPECT_TRUE(drawing.says("mutes counted")) << "or when wanted";
}

TEST_F(WorkListPageTest, ATiredPersonPassesTheChecksWithAnyKeyWhichDoesItsWork) {
    snapshot.ask_checks = true;
    const auto commands = press(letter('x'));
    ASSERT_EQ(commands.size(), 1U);
    EXPECT_TRUE(std::holds_alternative<visit::MarkOutOfReach>(commands.front()));
    EXPECT_FALSE(drawing.says("mutes counted"));
}

TEST_F(WorkListPageTest, BeforeLeavingWhatIsUndoneIsSaidAndWhatWasCheckedIsNoted) {
    snapshot.open_count = 3;
    snapshot.again_count = 2;
    press(letter('q'));
    EXPECT_TRUE(drawing.says("left open: 3"));
    EXPECT_TRUE(drawing.says("to be heard again: 2"));
    EXPECT_TRUE(press(letter('1')).empty());
    const auto over = press(letter('e'));
    ASSERT_EQ(over.size(), 3U);
    EXPECT_EQ(std::get<visit::Remark>(std::get<visit::Note>(over[0]).matter).words,
              "checked before leaving: mutes out, and counted");
    EXPECT_TRUE(std::holds_alternative<visit::EndVisit>(over[1]));
    EXPECT_TRUE(std::holds_alternative<visit::Quit>(over[2]));
}

TEST(WorkListPages, FitIntoEveryWindow) {
    for (const Size window : {Size{1280, 800}, Size{1024, 600}, Size{1920, 1080}, Size{3840, 2160}})
        for (const char page : {'l', 'n', 'k', 'q'}) {
            Drawing drawing(window);
            drawing.press(page, examples::over_the_list());
            for (const DrawnText& text : drawing.overlay.drawn_texts()) {
                EXPECT_GE(text.box.left, 0.0F) << text.words;
                EXPECT_LE(text.box.right, window.width / drawing.unit() + 0.5F)
                    << page << " " << window.width << ": " << text.words;
                EXPECT_LE(text.box.bottom, window.height / drawing.unit() + 0.5F) << text.words;
            }
        }
}

}  // namespace work_list_page_test
}  // namespace rankwright::overlay
