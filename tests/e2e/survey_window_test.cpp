// A rank surveyed in the real window: live, through the program's own threads, into a book on disk.
// The tones are made here (support/short_rank.h), cents by the definition 1200·log2.
#include "storage/tuning_book.h"
#include "support/short_rank.h"
#include "support/window_at_work.h"

#include <cmath>
#include <csignal>
#include <map>
#include <string>

#include <gtest/gtest.h>

namespace rankwright::testing {
namespace survey_window_test {

struct SurveyAtWork : WindowAtWork {
    void SetUp() override {
        WindowAtWork::SetUp();
        ASSERT_TRUE(ShortRank{48000}.write(folder / "rank.wav"));
    }
    void start_survey() {
        start("--job survey --stop \"Great/Octave 4'\" --input '" + (folder / "rank.wav").string() +
              "' --book '" + (folder / "book.sqlite").string() + "'");
        // A new visit begins with what should be looked after.
        EXPECT_TRUE(press("Return"));
    }
    nlohmann::json book_readings() {
        return rankwright("book readings --json --book '" + (folder / "book.sqlite").string() + "'")
            .json();
    }
    static int key_of(const std::string& pipe) {
        return std::stoi(pipe.substr(pipe.rfind('/') + 1));
    }
};

TEST_F(SurveyAtWork, EachKeyIsShownAndTheBookHasWhatWasFound) {
    start_survey();
    ASSERT_TRUE(comes_true([](const nlohmann::json& s) { return s["survey"]["heard"] == 8; }))
        << shown() << text("errors");
    // While it sounded, the key that is 20 cents off was shown with its figure.
    EXPECT_TRUE(was_true([](const nlohmann::json& s) {
        return s["key"] == 4 && s["survey"]["sounding"] == true && s["cents"].is_number() &&
               s["cents_sd"].is_number();
    }));
    EXPECT_TRUE(was_true([](const nlohmann::json& s) {
        const int heard = s["survey"]["heard"];
        return heard >= 3 && heard <= 5 && s["kept"].get<int>() >= heard - 1;
    })) << "kept on the way";
    EXPECT_GT(contrast(), 0.05) << "the window is blank";
    EXPECT_EQ(shown()["survey"]["stage"], "playing") << "most keys aren't played";
    EXPECT_TRUE(press("Next"));
    ASSERT_TRUE(comes_true([](const nlohmann::json& s) { return s["survey"]["stage"] == "done"; }))
        << shown();
    EXPECT_GE(shown()["survey"]["proposed"].get<int>(), 1);
    EXPECT_TRUE(press("q"));
    EXPECT_TRUE(press("Return"));
    EXPECT_EQ(program.wait(std::chrono::seconds(20)), 0) << text("errors");

    const auto book = book_readings();
    ASSERT_EQ(book["pipes"].size(), 8U) << book;
    for (const auto& pipe : book["pipes"]) {
        const int key = key_of(pipe["pipe"]);
        const double hz = pipe["survey"]["pitch_hz"];
        EXPECT_NEAR(1200.0 * std::log2(hz / ShortRank::hz(key)), 0.0, 0.1) << key;
    }
    bool proposed = false;
    for (const auto& one : book["list"])
        proposed = proposed || (key_of(one["pipe"]) == 4 && one["state"] == "proposed");
    EXPECT_TRUE(proposed) << book["list"];
}

TEST_F(SurveyAtWork, KilledInTheMiddleItHasWhatWasShownAsKeptAndGoesOn) {
    start_survey();
    ASSERT_TRUE(comes_true([](const nlohmann::json& s) { return s["kept"].get<int>() >= 3; }))
        << shown() << text("errors");
    const int kept = shown()["kept"];
    program.signal(SIGKILL);
    program.wait(std::chrono::seconds(10));
    EXPECT_GE(book_readings()["pipes"].size(), static_cast<std::size_t>(kept));
    EXPECT_EQ(rankwright("book check --book '" + (folder / "book.sqlite").string() + "'").code, 0);

    start_survey();
    EXPECT_TRUE(comes_true([&](const nlohmann::json& s) {
        return s["survey"]["heard"].get<int>() >= kept;
    })) << shown();
    EXPECT_TRUE(comes_true([](const nlohmann::json& s) { return s["survey"]["heard"] == 8; }))
        << shown();
}

}  // namespace survey_window_test
}  // namespace rankwright::testing
