// The real window under Xvfb, driven by real key presses.
#include "support/sound_files.h"
#include "support/sound_server.h"
#include "support/tones.h"
#include "support/window_at_work.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <csignal>
#include <cstdlib>
#include <fstream>
#include <random>
#include <thread>

#include <gtest/gtest.h>

namespace rankwright::testing {
namespace chamber_window_test {

using namespace std::chrono_literals;

// Great Octave 4′, the first pipe in walking order: CC, an octave above 65.406 Hz at A 440 (MIDI
// standard, f = 440 · 2^((m − 69) / 12)). The tone is 5 cents sharp of that by construction.
TEST_F(WindowAtWork, ShowsWhatSounds) {
    std::mt19937_64 random(7);
    const double target = 440.0 * std::exp2((36 - 69) / 12.0) * 2.0;
    const double hz = target * std::exp2(5.0 / 1200.0);
    const auto samples = render(sawtooth_like(hz, 48000.0, 12.0, 8, 0.3, random));
    ASSERT_TRUE(write_sound(folder / "tone.wav", samples, 48000));
    start("--stop \"Great/Octave 4'\" --pitch 440 --input '" + (folder / "tone.wav").string() +
          "' --screenshot '" + (folder / "shot.png").string() + "'");
    EXPECT_TRUE(comes_true([&](const nlohmann::json& s) {
        return s["stage"] == "reading" && s["heard_s"].get<double>() > 1.0 &&
               std::abs(s["cents"].get<double>() - 5.0) < 0.05;
    })) << shown();
    EXPECT_NEAR(shown()["target_hz"].get<double>(), target, 1e-6);
    EXPECT_EQ(shown()["move"], "sleeve up");
    EXPECT_GT(contrast(), 0.05) << "the window is blank";
    EXPECT_TRUE(press("q"));
    EXPECT_TRUE(press("Return"));
    EXPECT_EQ(program.wait(10s), 0) << text("errors");
    EXPECT_GT(std::filesystem::file_size(folder / "shot.png"), 5000U);
}

TEST_F(WindowAtWork, KeysMoveTheSimulatedPipeAndGoOn) {
    start("--stop \"Great/Octave 4'\" --input simulated --seed 3");
    // This pipe stands at the edge of its tolerance: it may be called settled.
    ASSERT_TRUE(comes_true([](const nlohmann::json& s) {
        return (s["stage"] == "reading" || s["stage"] == "settled") &&
               s["heard_s"].get<double>() > 1.5;
    })) << shown();
    const double before = shown()["cents"].get<double>();
    for (int i = 0; i < 3; ++i)
        EXPECT_TRUE(press("shift+Up"));
    // A sleeve moved up flattens (common practice; toff.org.uk): three far steps, about 12 cents.
    EXPECT_TRUE(comes_true([&](const nlohmann::json& s) {
        return s["cents"].is_number() && s["cents"].get<double>() < before - 6.0;
    })) << before
        << " before; now " << shown();

    const int key = shown()["key"].get<int>();
    EXPECT_TRUE(press("Next"));
    EXPECT_TRUE(comes_true([&](const nlohmann::json& s) { return s["key"] != key; }));
    EXPECT_TRUE(comes_true([](const nlohmann::json& s) { return s["stage"] == "reading"; }))
        << "the helper takes the next key: " << shown();
    EXPECT_TRUE(press("Prior"));
    EXPECT_TRUE(comes_true([&](const nlohmann::json& s) { return s["key"] == key; }));
}

// Great Principal 8′ from the Octave 4′ on the same key, CC: the reference's first partial meets
// the pipe's second (pipe lengths 2:1). The pipe is made to beat 0.6 a second sharp, its reference
// heard alone before.
TEST_F(WindowAtWork, TunesAPipeFromItsReferenceByBeats) {
    std::mt19937_64 random(11);
    const double reference_hz = 440.0 * std::exp2((36 - 69) / 12.0) * 2.0;
    constexpr double kBeat = 0.6, kSeconds = 14.0, kAlone = 2.5;
    const double pipe_hz = (reference_hz + kBeat) / 2.0;
    auto samples = render(sawtooth_like(reference_hz, 48000.0, kSeconds, 8, 0.15, random));
    const auto pipe = render(sawtooth_like(pipe_hz, 48000.0, kSeconds - kAlone, 12, 0.2, random));
    for (std::size_t i = 0; i < pipe.size(); ++i)
        samples[i + static_cast<std::size_t>(kAlone * 48000.0)] += pipe[i];
    ASSERT_TRUE(write_sound(folder / "two.wav", samples, 48000));
    start("--stop \"Great/Principal 8'\" --pitch 440 --input '" + (folder / "two.wav").string() +
          "'");
    EXPECT_TRUE(comes_true([&](const nlohmann::json& s) {
        return s["stage"] == "reading" && s["beat_hz"].is_number() && s["under_hz"].is_null() &&
               s["heard_s"].get<double>() > 1.5 &&
               std::abs(s["beat_hz"].get<double>() - kBeat) < 0.02;
    })) << shown();
    EXPECT_TRUE(was_true([](const nlohmann::json& s) {
        return s["stage"] == "reference" && s["reference_cents"].is_number() &&
               std::abs(s["reference_cents"].get<double>()) < 0.1;
    })) << shown();
    EXPECT_EQ(shown()["reference"], "Octave 4'");
    EXPECT_EQ(shown()["move"], "scroll up") << "sharp: the slot is closed a little (common "
                                               "practice, no source)";
    EXPECT_GT(contrast(), 0.05) << "the window is blank";
}

// A stop of high pitch, which beats soon: how long the bass takes is another test's matter.
TEST_F(WindowAtWork, HearsASimulatedPipeAloneAndWithItsReferenceAgain) {
    start("--stop \"Great/Fifteenth 2'\" --input simulated --seed 3");
    ASSERT_TRUE(comes_true([](const nlohmann::json& s) {
        return s.contains("reference") && s["stage"] == "reading";
    })) << shown();
    EXPECT_TRUE(press("a"));
    EXPECT_TRUE(comes_true([](const nlohmann::json& s) {
        return !s.contains("reference") && s["stage"] == "reading";
    })) << shown();
    EXPECT_TRUE(press("a"));
    EXPECT_TRUE(comes_true([](const nlohmann::json& s) {
        return s.contains("reference") && s["stage"] == "reading";
    })) << shown();
}

TEST_F(WindowAtWork, AnotherStopIsTakenInHandAndTheFirstIsFoundAgain) {
    start("--stop \"Great/Octave 4'\" --input simulated --seed 3");
    const auto at = [](const std::string& stop, int key) {
        return [=](const nlohmann::json& s) {
            return s["stop"] == stop && s["key"] == key && s["stage"] == "reading";
        };
    };
    ASSERT_TRUE(comes_true([](const nlohmann::json& s) { return s["stage"] == "reading"; }));
    EXPECT_TRUE(press("Next"));
    ASSERT_TRUE(comes_true(at("Great · Octave 4'", 3))) << shown();
    for (const char* key : {"s", "Down", "Return"})
        EXPECT_TRUE(press(key));
    EXPECT_TRUE(comes_true(at("Great · Twelfth 2 2/3'", 1))) << shown();
    for (const char* key : {"s", "Up", "Return"})
        EXPECT_TRUE(press(key));
    EXPECT_TRUE(comes_true(at("Great · Octave 4'", 3))) << shown();
}

// Power lost in the middle of the work: what was said to be kept is there, and the work goes on at
// the same stop. Another program reads the same book (Debian's sqlite3 would, too).
TEST_F(WindowAtWork, WhatWasKeptIsThereAfterTheProgramWasKilled) {
    const std::string book = (folder / "book.sqlite").string();
    start(
        "--stop \"Great/Fifteenth 2'\" --job single --input simulated --seed 3 --technician "
        "simulated --temperature 20C --book '" +
        book + "'");
    // In tune as found, or tuned, warm, and to be heard again.
    const auto in_the_book = [](const nlohmann::json& s) {
        return s["kept"].get<int>() + s["hear_again"].get<int>();
    };
    ASSERT_TRUE(comes_true([&](const nlohmann::json& s) { return in_the_book(s) >= 1; }))
        << shown();
    const nlohmann::json before = shown();
    program.signal(SIGKILL);
    program.wait(10s);
    start("--stop \"Great/Fifteenth 2'\" --job single --input simulated --seed 3 --book '" + book +
          "'");
    ASSERT_TRUE(comes_true([](const nlohmann::json& s) { return s.contains("kept"); }));
    EXPECT_GE(in_the_book(shown()), in_the_book(before));
    EXPECT_TRUE(press("q"));
    EXPECT_TRUE(press("e"));
    EXPECT_EQ(program.wait(10s), 0) << text("errors");
    EXPECT_EQ(text("errors"), "");
    // The visit is over: the next begins with nothing kept.
    start("--stop \"Great/Fifteenth 2'\" --job single --input simulated --book '" + book + "'");
    ASSERT_TRUE(comes_true([](const nlohmann::json& s) { return s.contains("kept"); }));
    EXPECT_EQ(shown()["kept"], 0);
}

TEST_F(WindowAtWork, SaysWhyTheBookCannotBeWrittenAndGoesOn) {
    std::ofstream(folder / "no-folder") << "a file where a folder should be";
    start(
        "--stop \"Great/Fifteenth 2'\" --job single --input simulated --seed 3 --technician "
        "simulated --book '" +
        (folder / "no-folder/book.sqlite").string() + "'");
    EXPECT_TRUE(comes_true([](const nlohmann::json& s) {
        return s["settled"] >= 1 && s["kept"] == 0 && s["book_trouble"].is_string();
    })) << shown();
}

// Great Mixture III: its lowest pipe on CC sounds 1 1/3 feet (19.22.26, the 19th).
TEST_F(WindowAtWork, AMixturesPipeIsHeardOnceTheOthersAreMuted) {
    start("--job mixture --stop \"Great/Mixture III\" --input simulated --seed 3");
    ASSERT_TRUE(comes_true([](const nlohmann::json& s) { return s["stage"] == "wrong key"; }))
        << "all pipes sound: " << shown();
    EXPECT_EQ(shown()["mixture"]["in_hand"], "1 1/3′");
    EXPECT_TRUE(press("c"));
    EXPECT_TRUE(comes_true([](const nlohmann::json& s) { return s["stage"] == "reading"; }))
        << shown();
    EXPECT_EQ(shown()["mixture"]["mutes_in"], 2);
    EXPECT_TRUE(press("w"));
    EXPECT_TRUE(comes_true([](const nlohmann::json& s) { return s["mixture"]["mutes_in"] == 0; }));
    EXPECT_TRUE(press("c"));
    EXPECT_TRUE(comes_true([](const nlohmann::json& s) {
        // One of them may be undecided; the worst of those heard is named first.
        const auto& pipes = s["mixture"]["pipes"];
        return s["mixture"]["heard_whole"] == true &&
               std::any_of(pipes.begin(), pipes.end(), [](const nlohmann::json& pipe) {
                   return pipe["suspect"] == 1 && pipe["cents"].is_number();
               });
    })) << shown();
    EXPECT_GT(contrast(), 0.05) << "the window is blank";
}

TEST_F(WindowAtWork, SaysThatNoMicrophoneIsThere) {
    start("--input mic");
    EXPECT_TRUE(comes_true([](const nlohmann::json& s) { return s["stage"] == "waiting"; }));
    EXPECT_GT(contrast(), 0.02);
}

}  // namespace chamber_window_test
}  // namespace rankwright::testing
