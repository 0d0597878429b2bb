// The tuning book's page, as presses and pictures: in the work, and on the first question.
#include "overlay/book_page.h"

#include "overlay/drawing.h"
#include "overlay/examples.h"

#include <string>
#include <variant>

#include <gtest/gtest.h>

namespace rankwright::overlay {
namespace book_page_test {

using What = visit::CareForBook::What;

BookView a_book() {
    BookView view;
    view.book = "/home/tess/.local/share/rankwright/tuning-book.sqlite";
    view.folders = {"/media/tess/STICK", "/home/tess"};
    view.books = {"/media/tess/STICK/other-laptop.sqlite", "/home/tess/old.sqlite"};
    view.exports = {"/media/tess/STICK/emberlow.json"};
    return view;
}

struct BookPageTest : ::testing::Test {
    Drawing drawing{{1280, 800}};
    Snapshot snapshot = examples::base();

    BookPageTest() { snapshot.tuning_book = a_book(); }
    static KeyPress letter(char c) { return {Key::character, c, false, false, 0}; }
    static KeyPress named(Key key) { return {key, 0, false, false, 0}; }
    /// What the presses ask of the book, places apart.
    std::vector<visit::CareForBook> press(std::initializer_list<KeyPress> keys) {
        std::vector<visit::CareForBook> asked;
        for (const KeyPress& key : keys)
            for (const visit::Command& command : drawing.press(key, snapshot))
                if (const auto& deed = std::get<visit::CareForBook>(command);
                    deed.what != What::look)
                    asked.push_back(deed);
        return asked;
    }
    void expect_all_in_the_window() {
        for (const DrawnText& text : drawing.overlay.drawn_texts()) {
            EXPECT_GE(text.box.left, 0.0F) << text.words;
            EXPECT_LE(text.box.right, 1280.0F) << text.words;
            EXPECT_LE(text.box.bottom, 800.0F) << text.words;
        }
    }
};

TEST_F(BookPageTest, EachDeedIsTwoOrThreePressesAway) {
    EXPECT_TRUE(press({letter('b')}).empty());
    for (const char* words : {"the tuning book", "copy it", "merge another book",
                              "take in an exported file", "look whether it is sound"})
        EXPECT_NE(drawing.largest(words), nullptr) << words;
    const auto deed = [&](std::initializer_list<KeyPress> keys) {
        const auto asked = press(keys);
        return asked.size() == 1 ? std::pair{asked.front().what, asked.front().file}
                                 : std::pair{What::look, std::to_string(asked.size())};
    };
    const KeyPress enter = named(Key::enter), down = named(Key::down);
    EXPECT_EQ(deed({enter, enter}), std::pair(What::back_up, std::string("/media/tess/STICK")));
    EXPECT_EQ(deed({down, enter, down, enter}),
              std::pair(What::merge, std::string("/home/tess/old.sqlite")));
    EXPECT_EQ(deed({down, enter, enter}),
              std::pair(What::import, std::string("/media/tess/STICK/emberlow.json")));
    EXPECT_EQ(deed({down, enter, enter}),
              std::pair(What::export_json, std::string("/media/tess/STICK")));
    // A presenter remote has page up, page down and a point.
    const KeyPress on = named(Key::page_down), point = letter('.');
    EXPECT_EQ(deed({on, point, on, point}), std::pair(What::export_csv, std::string("/home/tess")));
    EXPECT_EQ(deed({on, point}), std::pair(What::check, std::string()));
}

TEST_F(BookPageTest, WhereCopiesMayGoIsLookedUpWhenItIsAsked) {
    drawing.press(letter('b'), snapshot);
    const auto commands = drawing.press(named(Key::enter), snapshot);
    ASSERT_EQ(commands.size(), 1U);
    EXPECT_EQ(std::get<visit::CareForBook>(commands.front()).what, What::look);
    EXPECT_TRUE(drawing.says("copy it where?"));
    EXPECT_TRUE(drawing.says("STICK"));
}

TEST_F(BookPageTest, AnyPlaceCanBeTyped) {
    snapshot.tuning_book.folders.clear();
    const KeyPress enter = named(Key::enter);
    EXPECT_TRUE(press({letter('b'), enter, enter}).empty())
        << "nothing was found: its name is asked";
    for (const char32_t c : std::u32string_view(U"/mnt/ä b")) {
        EXPECT_TRUE(press({letter(c < 128 ? static_cast<char>(c) : '\0')}).empty());
        EXPECT_TRUE(press({{Key::text, 0, false, false, c}}).empty());
    }
    EXPECT_TRUE(drawing.says("/mnt/ä b_"));
    const auto asked = press({enter});
    ASSERT_EQ(asked.size(), 1U);
    EXPECT_EQ(asked.front().file, "/mnt/ä b");
}

TEST_F(BookPageTest, BackAndOut) {
    press({letter('b'), named(Key::enter)});
    EXPECT_TRUE(drawing.says("copy it where?"));
    press({named(Key::escape)});
    EXPECT_TRUE(drawing.says("the tuning book")) << "back to what can be done";
    press({named(Key::escape)});
    EXPECT_FALSE(drawing.says("the tuning book")) << "back to the work";
}

TEST_F(BookPageTest, OneThingAfterTheOtherAndWhatCameOfItIsLarge) {
    snapshot.tuning_book.busy = "copying the book …";
    EXPECT_TRUE(press({letter('b'), named(Key::enter), named(Key::enter)}).empty());
    EXPECT_TRUE(drawing.says("copying the book …"));
    snapshot.tuning_book.busy.clear();
    snapshot.tuning_book.said = "The book is sound and whole.";
    drawing.draw(snapshot);
    ASSERT_NE(drawing.largest("The book is sound and whole."), nullptr);
    EXPECT_GE(drawing.largest("The book is sound and whole.")->em, 37.0F);
}

TEST_F(BookPageTest, WithoutABookItSaysHowToHaveOne) {
    snapshot.tuning_book = {};
    EXPECT_TRUE(press({letter('b')}).empty());
    EXPECT_TRUE(drawing.says("--book FILE"));
    EXPECT_TRUE(press({named(Key::enter)}).empty());
    EXPECT_FALSE(drawing.says("--book FILE"));
}

TEST_F(BookPageTest, LongNamesAndManyPlacesStayInTheWindow) {
    BookView& view = snapshot.tuning_book;
    view.book = "/" + std::string(300, 'x') + "/tuning-book.sqlite";
    view.said = "Nothing was done: /" + std::string(200, 'y') + " " + std::string(300, 'z');
    view.failed = true;
    view.books.clear();
    for (int i = 0; i < 40; ++i)
        view.books.push_back("/" + std::string(200, 'x') + "/book-" + std::to_string(i));
    press({letter('b'), named(Key::down), named(Key::enter)});
    for (int i = 0; i < 30; ++i) {
        press({named(Key::down)});
        EXPECT_TRUE(drawing.says("book-" + std::to_string(i + 1))) << "what is lit is seen";
        expect_all_in_the_window();
    }
}

TEST_F(BookPageTest, TheFirstQuestionHasItToo) {
    Choices choices;
    choices.instruments = {{"Chapel of the Fells", "fells.toml"}};
    choices.inputs = {{"simulated chamber", "for practice"}};
    choices.book = a_book();
    Chooser chooser;
    for (const KeyPress& key :
         {letter('b'), named(Key::down), named(Key::enter), named(Key::enter)})
        chooser.press(key, choices);
    EXPECT_EQ(chooser.state(), Chooser::State::choosing);
    const auto asked = chooser.take_asked();
    ASSERT_EQ(asked.size(), 2U);
    EXPECT_EQ(asked[0].what, What::look);
    EXPECT_EQ(asked[1].what, What::merge);
    EXPECT_EQ(asked[1].file, "/media/tess/STICK/other-laptop.sqlite");
    EXPECT_TRUE(chooser.take_asked().empty());
    chooser.press(named(Key::escape), choices);
    EXPECT_EQ(chooser.state(), Chooser::State::choosing) << "out of the book, not of the program";
    ImGui::NewFrame();
    drawing.overlay.draw_chooser(chooser, choices, {1280, 800});
    ImGui::Render();
    EXPECT_TRUE(drawing.says("Which organ"));
    EXPECT_TRUE(drawing.says("B: the tuning book"));
}

// The thread that copies is waited for when the question is answered: not in front of a picture
// that stands still.
TEST_F(BookPageTest, TheFirstQuestionWaitsWhereTheWaitingIsSeen) {
    Choices choices;
    choices.instruments = {{"Chapel of the Fells", "fells.toml"}};
    choices.inputs = {{"simulated chamber", "for practice"}};
    choices.book = a_book();
    choices.book.busy = "copying the book …";
    Chooser chooser;
    for (const KeyPress& key : {named(Key::enter), named(Key::enter)})
        chooser.press(key, choices);
    EXPECT_EQ(chooser.state(), Chooser::State::choosing);
    ImGui::NewFrame();
    drawing.overlay.draw_chooser(chooser, choices, {1280, 800});
    ImGui::Render();
    EXPECT_TRUE(drawing.says("copying the book …"));
    choices.book.busy.clear();
    for (const KeyPress& key : {named(Key::escape), named(Key::enter)})
        chooser.press(key, choices);
    EXPECT_EQ(chooser.state(), Chooser::State::chosen);
}

TEST_F(BookPageTest, LeavingSaysWhatIsStillBeingDone) {
    snapshot.tuning_book.busy = "copying the book …";
    press({letter('q')});
    EXPECT_TRUE(drawing.says("still copying the book …"));
}

}  // namespace book_page_test
}  // namespace rankwright::overlay
