// The tuning book looked after in the real window, by real key presses: at work, and at the first
// question. What comes of it is read back by the program's own commands and by Python's sqlite3.
#include "support/window_at_work.h"

#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::testing {
namespace book_window_test {

namespace fs = std::filesystem;
using ::testing::HasSubstr;

std::string export_of(const std::string& id, const std::string& organ) {
    return R"({"format":"rankwright tuning book","version":1,"visits":[{"visit":")" + id +
           R"(","organ":")" + organ + R"(","organ_name":")" + organ +
           R"(","instrument_file":"","started":"2025-11-20T08:00:00Z","ended":null,"entries":[
{"serial":1,"at":"2025-11-20T09:00:00Z","kind":"pitch","a_hz":440.5,"measured":true}]}]})";
}

struct BookInTheWindow : WindowAtWork {
    fs::path home = folder / "home";
    std::string book = (folder / "book.sqlite").string();

    void SetUp() override {
        WindowAtWork::SetUp();
        fs::create_directories(home / "stick");
        setenv("HOME", home.c_str(), 1);
        make_book(book, "here");
        make_book((home / "stick/other.sqlite").string(), "elsewhere");
    }
    void make_book(const std::string& file, const std::string& place) {
        std::ofstream(folder / "export.json") << export_of("visit-at-" + place, place);
        ASSERT_EQ(rankwright("book import '" + (folder / "export.json").string() + "' --book '" +
                             file + "'")
                      .code,
                  0);
    }
    /// The slugs of the organs in a book.
    static std::string organs(const std::string& file) {
        std::string all;
        const auto json = rankwright("book organs --json --book '" + file + "'").json();
        if (!json.is_object()) return all;  // it isn't there yet
        for (const auto& one : json["organs"])
            all += one["organ"].get<std::string>() + " ";
        return all;
    }
    bool says(const std::string& part) {
        return comes_true([&](const nlohmann::json& line) {
            const auto& said = line["book"]["said"];
            return said.is_string() && said.get<std::string>().find(part) != std::string::npos;
        });
    }
    static void press_all(std::initializer_list<const char*> keys) {
        for (const char* key : keys)
            EXPECT_TRUE(press(key));
    }
    static std::string picture() {
        return output_of("import -window root png:- | convert png:- rgb:- | sha1sum");
    }
    /// Waits until the screen shows something else than `before`, and goes on showing it. The first
    /// question tells nothing of itself but by what it shows.
    static ::testing::AssertionResult comes_to_rest(const std::string& before) {
        using namespace std::chrono;
        const auto end = steady_clock::now() + seconds(60);
        std::string last = before;
        for (auto since = steady_clock::now(); steady_clock::now() < end;) {
            if (const std::string now = picture(); now != last) {
                last = now;
                since = steady_clock::now();
            }
            if (last != before && steady_clock::now() - since > seconds(1))
                return ::testing::AssertionSuccess();
            std::this_thread::sleep_for(milliseconds(100));
        }
        return ::testing::AssertionFailure() << "the screen never came to rest";
    }
    static void press_and_see(std::initializer_list<const char*> keys) {
        for (const char* key : keys) {
            const std::string before = picture();
            EXPECT_TRUE(press(key));
            EXPECT_TRUE(comes_to_rest(before)) << "after " << key;
        }
    }
    std::string file_named(const std::string& ending) {
        for (const auto& file : fs::directory_iterator(home / "stick"))
            if (file.path().filename().string().starts_with("tuning-book-") &&
                file.path().extension() == ending)
                return file.path().string();
        return "";
    }
};

TEST_F(BookInTheWindow, IsCopiedJoinedWrittenOutTakenInAndCheckedAtWork) {
    start("--input simulated --book '" + book + "'");
    press_all({"b", "Down", "Return"});
    ASSERT_TRUE(comes_true([](const auto& line) { return line["book"]["books"].size() == 1; }))
        << shown();
    EXPECT_GT(contrast(), 0.05) << "the window is blank";
    EXPECT_TRUE(press("Return"));
    ASSERT_TRUE(says("Taken in from other.sqlite: 1 new entry")) << shown();
    EXPECT_THAT(organs(book), HasSubstr("elsewhere"));
    EXPECT_THAT(organs(book), HasSubstr("here"));
    press_all({"Return", "Return"});
    ASSERT_TRUE(says("Nothing new in other.sqlite")) << shown();

    // A copy into another folder: its name is typed.
    press_all({"Up", "Return"});
    press_all({"Down", "Down", "Down", "Down", "Down", "Down", "Return"});
    ASSERT_EQ(std::system(("xdotool type --delay 120 '" + (home / "stick").string() + "'").c_str()),
              0);
    EXPECT_TRUE(press("Return"));
    ASSERT_TRUE(says("is a sound copy of the book")) << shown();
    const std::string copy = file_named(".sqlite");
    ASSERT_NE(copy, "");
    EXPECT_EQ(output_of("/usr/bin/python3 -c \"import sqlite3; print(sqlite3.connect('" + copy +
                        "').execute('PRAGMA integrity_check').fetchone()[0])\""),
              "ok");
    EXPECT_EQ(organs(copy), organs(book));

    press_all({"End", "Down", "Down", "Down", "Down", "Down", "Return"});
    ASSERT_TRUE(says("sound and whole")) << shown();
    // Back to the work, which goes on.
    const int key = shown()["key"];
    press_all({"Escape", "Next"});
    EXPECT_TRUE(comes_true([&](const auto& line) { return line["key"] != key; })) << shown();
    press_all({"q", "Return"});
    EXPECT_EQ(program.wait(std::chrono::seconds(20)), 0) << text("errors");
}

TEST_F(BookInTheWindow, WhatCantBeDoneIsSaidAndTheBookStaysAsItWas) {
    std::ofstream(home / "stick/other.sqlite", std::ios::binary | std::ios::in)
        << "SQLite format 3";
    std::ofstream(home / "broken.json") << R"({"format":"rankwright tuning book","visits":[{)";
    start("--input simulated --book '" + book + "'");
    press_all({"b", "Down", "Down", "Return"});
    ASSERT_TRUE(comes_true([](const auto& line) { return line["book"]["exports"].size() == 1; }))
        << shown();
    EXPECT_TRUE(press("Return"));
    ASSERT_TRUE(says("isn't whole JSON")) << shown();
    EXPECT_TRUE(shown()["book"]["failed"]);
    EXPECT_THAT(organs(book), HasSubstr("here"));
}

TEST_F(BookInTheWindow, CanBeJoinedBeforeTheWorkBegins) {
    const std::string usual = (folder / "data/rankwright/tuning-book.sqlite").string();
    const std::string blank = picture();
    program = Process({"sh", "-c",
                       "cd '" + (folder / "").string() + "' && XDG_STATE_HOME='" +
                           (folder / "state").string() + "' XDG_DATA_HOME='" +
                           (folder / "data").string() + "' exec '" + RANKWRIGHT_PROGRAM + "'"},
                      folder / "out", folder / "errors");
    ASSERT_NE(output_of("timeout 60 xdotool search --sync --onlyvisible --name Rankwright"), "")
        << text("errors");
    ASSERT_TRUE(comes_to_rest(blank));
    // Merge another book: two are found; "another", whose name is typed, stands below them.
    press_and_see({"b", "Down", "Return", "Down", "Down", "Return"});
    ASSERT_EQ(
        std::system(
            ("xdotool type --delay 120 '" + (home / "stick/other.sqlite").string() + "'").c_str()),
        0);
    EXPECT_TRUE(press("Return"));
    const auto end = std::chrono::steady_clock::now() + std::chrono::seconds(60);
    while (organs(usual).find("elsewhere") == std::string::npos &&
           std::chrono::steady_clock::now() < end)
        std::this_thread::sleep_for(std::chrono::milliseconds(200));
    EXPECT_THAT(organs(usual), HasSubstr("elsewhere"));
    press_all({"Escape", "q"});
    EXPECT_EQ(program.wait(std::chrono::seconds(20)), 0) << text("errors");
}

}  // namespace book_window_test
}  // namespace rankwright::testing
