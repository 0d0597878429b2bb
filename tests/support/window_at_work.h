// The real program with its window on a display of the test's own, driven by real key presses.
#pragma once

#include "support/display.h"
#include "support/program.h"

#include <chrono>
#include <cstdlib>
#include <fstream>
#include <sstream>
#include <string>
#include <thread>

#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

namespace rankwright::testing {

struct WindowAtWork : ::testing::Test {
    TemporaryFolder folder;
    Display display{1280, 800};
    Process program;
    const std::string organ = std::string(RANKWRIGHT_INSTRUMENTS) + "/emberlow.toml";

    void SetUp() override { ASSERT_TRUE(display.running()) << "install the package xvfb"; }

    void start(const std::string& arguments) {
        program = Process({"sh", "-c",
                           "XDG_STATE_HOME='" + (folder / "state").string() + "' XDG_DATA_HOME='" +
                               (folder / "data").string() + "' exec '" + RANKWRIGHT_PROGRAM +
                               "' chamber '" + organ + "' --json " + arguments},
                          folder / "out", folder / "errors");
        ASSERT_NE(output_of("timeout 60 xdotool search --sync --onlyvisible --name Rankwright"), "")
            << text("errors");
    }
    static bool press(const std::string& key) {
        // GLFW takes one key twice within 20 ms as held.
        std::this_thread::sleep_for(std::chrono::milliseconds(100));
        return std::system(("xdotool key " + key).c_str()) == 0;
    }
    /// How much the picture on the screen varies: 0 for a blank one, at most 1.
    static double contrast() {
        return std::atof(output_of("import -window root png:- | convert png:- -colorspace gray "
                                   "-format '%[fx:standard_deviation]' info:")
                             .c_str());
    }
    std::string text(const std::string& name) {
        std::ostringstream all;
        all << std::ifstream(folder / name).rdbuf();
        return all.str();
    }
    /// What the window last showed; null before the first line.
    nlohmann::json shown() {
        std::ifstream in(folder / "out");
        nlohmann::json last;
        for (std::string line; std::getline(in, line);)
            if (auto json = nlohmann::json::parse(line, nullptr, false); json.is_object())
                last = json;
        return last;
    }
    /// Whether any line so far meets the condition: for what may have passed before one looks.
    template <typename Condition>
    bool was_true(Condition condition) {
        std::ifstream in(folder / "out");
        for (std::string line; std::getline(in, line);)
            if (auto json = nlohmann::json::parse(line, nullptr, false);
                json.is_object() && condition(json))
                return true;
        return false;
    }
    template <typename Condition>
    bool comes_true(Condition condition, std::chrono::seconds patience = std::chrono::seconds(60)) {
        const auto end = std::chrono::steady_clock::now() + patience;
        while (std::chrono::steady_clock::now() < end) {
            const auto json = shown();
            if (json.is_object() && condition(json)) return true;
            std::this_thread::sleep_for(std::chrono::milliseconds(100));
        }
        return false;
    }
};

}  // namespace rankwright::testing
