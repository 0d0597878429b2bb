// The real window on a display of the test's own, driven by real key presses.
#include "support/display.h"
#include "support/sound_server.h"

#include <chrono>
#include <cstdlib>
#include <filesystem>
#include <string>
#include <thread>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <unistd.h>

namespace rankwright {
namespace window_test {

using std::chrono::milliseconds;
using std::chrono::seconds;
using testing::Display;
using ::testing::HasSubstr;
using testing::output_of;
using testing::Process;
using testing::read_text;

// A machine under load may draw its first picture late; no test waits this long otherwise.
constexpr seconds kPatience{60};

class WindowTest : public ::testing::Test {
  protected:
    void SetUp() override {
        ASSERT_TRUE(display_.running()) << "install the package xvfb";
        std::string pattern =
            (std::filesystem::temp_directory_path() / "rankwright-XXXXXX").string();
        folder_ = mkdtemp(pattern.data());
    }
    void TearDown() override { std::filesystem::remove_all(folder_); }

    void show(const std::string& example) {
        probe_ = Process({WINDOW_PROBE, example, (folder_ / "saved.png").string()}, folder_ / "out",
                         folder_ / "errors");
        ASSERT_NE(output_of("timeout 60 xdotool search --sync --onlyvisible --name Rankwright"), "")
            << "no window came up: " << read_text(folder_ / "errors");
        // The window stands; its first picture is drawn a moment later.
        for (int tries = 0; tries < 600 && colours() < 20; ++tries)
            std::this_thread::sleep_for(milliseconds{100});
    }
    // `apart`: milliseconds from press to press; GLFW takes one key twice within 20 ms as held.
    static void press(const std::string& keys, int apart = 40) {
        const std::string command = "xdotool key --delay " + std::to_string(apart) + " " + keys;
        ASSERT_EQ(std::system(command.c_str()), 0);
    }
    // Waits for the line, since presses come by the display's own queue.
    bool written(const std::string& line) const {
        const auto end = std::chrono::steady_clock::now() + kPatience;
        while (std::chrono::steady_clock::now() < end) {
            if (("\n" + read_text(folder_ / "out")).find("\n" + line + "\n") != std::string::npos)
                return true;
            std::this_thread::sleep_for(milliseconds{20});
        }
        return false;
    }
    static int colours() {
        return std::atoi(output_of("import -window root png:- | identify -format %k -").c_str());
    }
    // Mean brightness, 0 to 1, of a part of the screen: "WxH+X+Y".
    static double brightness(const std::string& part) {
        return std::atof(output_of("import -window root png:- | convert - -crop " + part +
                                   " +repage -colorspace gray -format %[fx:mean] info:-")
                             .c_str());
    }

    Display display_{1280, 800};
    std::filesystem::path folder_;
    Process probe_;
};

TEST_F(WindowTest, ShowsAPictureAndSavesTheSame) {
    show("sharp-open");
    EXPECT_GT(colours(), 100) << "the window is blank or nearly so";
    // The figure's numerals are pale on near-black; an empty corner of the same panel is dark.
    EXPECT_GT(brightness("270x120+424+150"), 0.25);
    EXPECT_LT(brightness("60x120+900+150"), 0.1);
    // The beat ribbons, which only the shader draws.
    EXPECT_GT(brightness("270x110+490+420"), 0.25);
    EXPECT_LT(brightness("100x110+850+420"), 0.1) << "seconds not yet heard are empty";
    press("q");
    press("Return");
    ASSERT_TRUE(written("quit"));
    EXPECT_EQ(probe_.wait(kPatience), 0) << read_text(folder_ / "errors");
    const std::string saved = (folder_ / "saved.png").string();
    EXPECT_EQ(output_of("identify -format '%wx%h' " + saved), "1280x800");
    EXPECT_GT(std::atoi(output_of("identify -format %k " + saved).c_str()), 100);
}

TEST_F(WindowTest, SettledIsABrightPlate) {
    show("settled");
    EXPECT_GT(brightness("540x200+424+70"), 0.6);
}

TEST_F(WindowTest, PressesOfOneFrameArriveAllAndInOrder) {
    show("sharp-open");
    press("Next Prior space m period Up shift+Down", 1);
    ASSERT_TRUE(written("down")) << read_text(folder_ / "out");
    EXPECT_EQ(read_text(folder_ / "out"), "next\nback\nnext\ntake pitch\nkey 32\nup\ndown\n");
}

TEST_F(WindowTest, ValuesAreTyped) {
    show("waiting");
    press("t 2 1 period 5 Return p 4 4 1 period 2 Return 4 9 Return");
    ASSERT_TRUE(written("key 49")) << read_text(folder_ / "out");
    EXPECT_EQ(read_text(folder_ / "out"), "temperature 21.500000\npitch 441.200000\nkey 49\n");
}

TEST_F(WindowTest, TheFirstQuestionIsAnsweredByKeys) {
    show("chooser");
    press("Down Down Return Down Return");
    ASSERT_TRUE(written("instrument 1 input 1")) << read_text(folder_ / "out");
    EXPECT_EQ(probe_.wait(kPatience), 0);
}

TEST(WindowWithoutADisplay, SaysWhatToDo) {
    unsetenv("DISPLAY");
    const std::string words = output_of(std::string(WINDOW_PROBE) + " sharp-open 2>&1");
    EXPECT_THAT(words, HasSubstr("No window can be opened"));
    EXPECT_THAT(words, HasSubstr("xvfb-run"));
}

}  // namespace window_test
}  // namespace rankwright
