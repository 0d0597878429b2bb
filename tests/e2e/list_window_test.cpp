// The work list in the real window under Xvfb, driven by real key presses.
#include "support/display.h"
#include "support/program.h"
#include "support/sound_server.h"

#include <chrono>
#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <fstream>
#include <sstream>
#include <thread>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::testing {
namespace list_window_test {

using namespace std::chrono_literals;
using ::testing::HasSubstr;

struct ListInTheWindow : ::testing::Test {
    TemporaryFolder folder;
    Display display{1280, 800};
    Process program;
    std::string organ = std::string(RANKWRIGHT_INSTRUMENTS) + "/emberlow.toml";
    std::string book = (folder / "book.sqlite").string();

    void SetUp() override { ASSERT_TRUE(display.running()) << "install the package xvfb"; }

    Outcome list(const std::string& more) {
        return rankwright("list '" + organ + "' --book '" + book + "' --json " + more);
    }
    void start() {
        program = Process(
            {"sh", "-c",
             "cd '" + (folder / "").string() + "' && XDG_STATE_HOME='" +
                 (folder / "state").string() + "' exec '" + RANKWRIGHT_PROGRAM + "' chamber '" +
                 organ + "' --input simulated --list --json --book '" + book + "'"},
            folder / "out", folder / "errors");
        ASSERT_NE(output_of("timeout 60 xdotool search --sync --onlyvisible --name Rankwright"),
                  "");
    }
    static void press(const std::string& key) {
        // GLFW takes one key twice within 20 ms as held.
        std::this_thread::sleep_for(150ms);
        EXPECT_EQ(std::system(("xdotool key " + key).c_str()), 0);
    }
    nlohmann::json shown() {
        std::ifstream in(folder / "out");
        nlohmann::json last;
        for (std::string line; std::getline(in, line);)
            if (auto json = nlohmann::json::parse(line, nullptr, false); json.is_object())
                last = json;
        return last;
    }
    template <typename Condition>
    static bool comes_true(Condition condition, std::chrono::seconds patience = 60s) {
        const auto end = std::chrono::steady_clock::now() + patience;
        while (std::chrono::steady_clock::now() < end) {
            if (condition()) return true;
            std::this_thread::sleep_for(200ms);
        }
        return false;
    }
    bool at(const std::string& stop, int key) {
        return comes_true([&] {
            const auto json = shown();
            return json.is_object() && json["stop"] == stop && json["key"] == key;
        });
    }
};

// Great Octave 4′ is what the Principal is tuned from (instruments/emberlow.toml): it comes first.
TEST_F(ListInTheWindow, IsWalkedChangedAndReportedOn) {
    ASSERT_EQ(list("--want \"Principal 8'/25\" --want \"Great/Octave 4'/13\" --want \"Great/Octave "
                   "4'/25\"")
                  .code,
              0);
    start();
    EXPECT_TRUE(at("Great · Octave 4'", 13)) << shown();
    EXPECT_EQ(shown()["list_to_do"], 3);
    press("Next");
    EXPECT_TRUE(at("Great · Octave 4'", 25)) << shown();
    press("Next");
    EXPECT_TRUE(at("Great · Principal 8'", 25)) << shown();
    // The list opens at the pipe in hand; two up is the first, which is gone to.
    for (const char* key : {"l", "Up", "Up", "Return"})
        press(key);
    EXPECT_TRUE(at("Great · Octave 4'", 13)) << shown();
    for (const char* key : {"l", "Down", "d"})
        press(key);
    EXPECT_TRUE(comes_true([&] { return shown()["list_to_do"] == 2; })) << "dropped";
    for (const char* key : {"c", "s", "o", "u", "r", "Return", "Escape"})
        press(key);
    EXPECT_TRUE(comes_true([&] {
        return list("").json()["pipes"].dump().find("complaint: sour") != std::string::npos;
    })) << list("").out;
    press("r");
    std::string page;
    EXPECT_TRUE(comes_true([&] {
        for (const auto& file : std::filesystem::directory_iterator(folder / ""))
            if (file.path().extension() == ".html") page = file.path().string();
        return !page.empty();
    })) << "the report is written where the program was started";
    std::ostringstream words;
    words << std::ifstream(page).rdbuf();
    EXPECT_THAT(words.str(), HasSubstr("sour"));
    press("q");
    press("1");
    press("e");
    EXPECT_EQ(program.wait(20s), 0);
    const auto exported =
        rankwright("book export --book '" + book + "' '" + (folder / "all.json").string() + "'");
    EXPECT_EQ(exported.code, 0) << exported.error;
    std::ostringstream all;
    all << std::ifstream(folder / "all.json").rdbuf();
    EXPECT_THAT(all.str(), HasSubstr("checked before leaving: mutes out, and counted"));
}

// Two programs that go on with one visit would each have a list of their own.
TEST_F(ListInTheWindow, IsChangedThereWhileTheWindowIsOpen) {
    ASSERT_EQ(list("--want \"Great/Octave 4'/13\"").code, 0);
    start();
    EXPECT_TRUE(at("Great · Octave 4'", 13)) << shown();
    for (const char* edit : {"--want \"Great/Octave 4'/25\"", "--complaint sour"}) {
        const Outcome refused = list(edit);
        EXPECT_EQ(refused.code, 2);
        EXPECT_THAT(refused.error, HasSubstr("another Rankwright is at work"));
        EXPECT_THAT(refused.error, HasSubstr("L opens the work list"));
    }
    const Outcome second =
        rankwright("chamber '" + organ + "' --input simulated --for 1 --book '" + book + "'");
    EXPECT_EQ(second.code, 2);
    EXPECT_THAT(second.error, HasSubstr("another Rankwright is at work"));
    EXPECT_EQ(list("").json()["to_do"], 1) << "it is only looked at";
    for (const char* key : {"l", "d", "Escape"})
        press(key);
    EXPECT_TRUE(comes_true([&] { return list("").code == 1 || list("").json()["to_do"] == 0; }));
    program.signal(SIGKILL);
    program.wait(20s);
    EXPECT_EQ(list("--want \"Great/Octave 4'/25\"").json()["to_do"], 1)
        << "the visit is free again, however its program ended";
    EXPECT_EQ(rankwright("book visits --json --book '" + book + "'").json()["visits"].size(), 1U);
}

TEST_F(ListInTheWindow, AnEmptyListIsSaidBeforeTheWindowOpens) {
    const Outcome outcome =
        rankwright("chamber '" + organ + "' --input simulated --list --book '" + book + "'");
    EXPECT_EQ(outcome.code, 1);
    EXPECT_THAT(outcome.error, HasSubstr("rankwright list"));
}

}  // namespace list_window_test
}  // namespace rankwright::testing
