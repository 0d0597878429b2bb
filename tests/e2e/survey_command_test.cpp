// `rankwright survey` as a user runs it. The tones are made here; their pitches are exact by
// construction, cents by the definition 1200·log2.
#include "support/program.h"
#include "support/scene.h"
#include "support/short_rank.h"
#include "support/sound_files.h"

#include <cmath>
#include <filesystem>
#include <fstream>
#include <map>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::testing {
namespace survey_command_test {

using ::testing::HasSubstr;

struct SurveyCommand : ::testing::Test {
    static constexpr int kRate = 22050;
    TemporaryFolder folder;
    const std::string organ = std::string("'") + RANKWRIGHT_INSTRUMENTS + "/emberlow.toml' ";

    static double off(int key) { return ShortRank::off(key); }
    /// A short rank in a file.
    std::string take(int channels = 1, int format = SF_FORMAT_WAV | SF_FORMAT_PCM_16) {
        const auto path =
            folder / (format == (SF_FORMAT_WAV | SF_FORMAT_PCM_16) ? "rank.wav" : "rank.flac");
        EXPECT_TRUE(ShortRank{kRate}.write(path, channels, format));
        return "'" + path.string() + "' ";
    }
};

TEST_F(SurveyCommand, GivesReadingsPitchAndFindings) {
    const Outcome outcome =
        rankwright("survey --json " + organ + take() + "--stop \"Great/Octave 4'\"");
    ASSERT_EQ(outcome.code, 0) << outcome.error;
    const auto json = outcome.json();
    EXPECT_NEAR(1200.0 * std::log2(json["pitch_hz"].get<double>() / 437.5), 0.0, 1.0);
    const auto readings = json["readings"];
    ASSERT_EQ(readings.size(), 8U);
    const int keys[] = {1, 2, 3, 4, 5, 7, 8, 9};
    for (std::size_t i = 0; i < readings.size(); ++i) {
        const auto& one = readings[i];
        ASSERT_EQ(one["key"], keys[i]);
        EXPECT_EQ(one["midi"], 35 + keys[i]);
        EXPECT_TRUE(one["note"].is_string());
        const double hz = 437.5 * std::exp2((keys[i] - 22) / 12.0 + off(keys[i]) / 1200.0);
        EXPECT_NEAR(1200.0 * std::log2(one["hz"].get<double>() / hz), 0.0, 0.02) << keys[i];
        // From the target at the pitch that it says of today.
        const double target = json["pitch_hz"].get<double>() * std::exp2((keys[i] - 22) / 12.0);
        EXPECT_NEAR(one["cents"].get<double>(),
                    1200.0 * std::log2(one["hz"].get<double>() / target), 1e-6);
        EXPECT_LT(one["cents_sd"].get<double>(), 0.1);
        const double began = 0.5 + 2.1 * static_cast<double>(i);
        EXPECT_GT(one["from_s"].get<double>(), began);
        EXPECT_LT(one["to_s"].get<double>(), began + 2.0);
    }
    std::map<std::string, int> found;
    for (const auto& finding : json["findings"]) {
        ++found[finding["kind"].get<std::string>()];
        EXPECT_FALSE(finding["words"].get<std::string>().empty());
        if (finding["kind"] == "missing") {
            EXPECT_EQ(finding["key"], 6);
        }
        if (finding["kind"] == "out_of_tune" && finding["audibility"].get<double>() > 0.1) {
            EXPECT_EQ(finding["key"], 4);
        }
    }
    EXPECT_EQ(found["missing"], 1);
    EXPECT_GE(found["out_of_tune"], 1);
    EXPECT_EQ(found["not_played"], 1);
}

TEST_F(SurveyCommand, IsReadableAndTakesAnyNumberOfChannels) {
    const std::string stop = "--stop \"Great/Octave 4'\" --pitch 437.5";
    const Outcome mono = rankwright("survey " + organ + take() + stop);
    ASSERT_EQ(mono.code, 0) << mono.error;
    EXPECT_THAT(mono.out, HasSubstr("CC♯"));
    EXPECT_THAT(mono.out, HasSubstr("437.50 Hz today, as given"));
    EXPECT_THAT(mono.out, HasSubstr("is missing"));
    const Outcome stereo =
        rankwright("survey --json " + organ + take(3, SF_FORMAT_FLAC | SF_FORMAT_PCM_16) + stop);
    ASSERT_EQ(stereo.code, 0) << stereo.error;
    EXPECT_EQ(stereo.json()["readings"].size(), 8U);
    EXPECT_EQ(stereo.json()["pitch_hz"], 437.5);
    const Outcome part =
        rankwright("survey --json --from 4.5 --to 9.0 --channel 2 " + organ + take(2) + stop);
    ASSERT_EQ(part.code, 0) << part.error;
    ASSERT_EQ(part.json()["readings"].size(), 2U);
    EXPECT_EQ(part.json()["readings"][0]["key"], 3);
    EXPECT_GT(part.json()["readings"][0]["from_s"].get<double>(), 4.7);
}

TEST_F(SurveyCommand, KeepsWhatItHeardInTheBookAndShowsLastTimesFigures) {
    const std::string stop = "--stop \"Great/Octave 4'\" ";
    const std::string book = "--book '" + (folder / "book.sqlite").string() + "' ";
    const std::string asked = "survey --json " + organ + take() + stop;
    const Outcome first = rankwright(asked + book);
    ASSERT_EQ(first.code, 0) << first.error;
    std::map<int, double> cents;
    const auto found = first.json();
    for (const auto& one : found["readings"]) {
        cents[one["key"]] = one["cents"];
        EXPECT_TRUE(one["last_cents"].is_null());
    }
    const auto kept = rankwright("book readings --json " + book).json();
    ASSERT_EQ(kept["pipes"].size(), 8U);
    for (const auto& one : kept["pipes"]) {
        const std::string pipe = one["pipe"];
        const int key = std::stoi(pipe.substr(pipe.rfind('/') + 1));
        EXPECT_NEAR(one["survey"]["deviation_cents"].get<double>(), cents.at(key), 1e-6) << key;
        EXPECT_TRUE(one["before"].is_null());
    }
    bool proposed = false;
    for (const auto& one : kept["list"])
        proposed = proposed || (one["pipe"] == "great/octave-4/1/4" && one["state"] == "proposed");
    EXPECT_TRUE(proposed) << kept["list"];
    EXPECT_THAT(rankwright("book readings " + book).out, HasSubstr("proposed"));

    // The same day it goes on with the visit; another visit shows the figures of this one.
    ASSERT_EQ(rankwright(asked + book).code, 0);
    EXPECT_EQ(rankwright("book visits --json " + book).json()["visits"].size(), 1U);
    const Outcome next = rankwright(asked + book + "--new-visit");
    ASSERT_EQ(next.code, 0) << next.error;
    const auto again = next.json();
    ASSERT_EQ(again["readings"].size(), 8U);
    for (const auto& one : again["readings"])
        EXPECT_NEAR(one["last_cents"].get<double>(), cents.at(one["key"]), 1e-6);
    EXPECT_EQ(rankwright("book visits --json " + book).json()["visits"].size(), 2U);
    EXPECT_THAT(rankwright("survey " + organ + take() + stop + book).out, HasSubstr("last time"));
}

TEST_F(SurveyCommand, KeepsNothingUnlessItIsAskedToAndSaysWhatStandsInTheWay) {
    const std::string home = "XDG_DATA_HOME='" + (folder / "data").string() + "' ";
    const std::string asked = "survey --json " + organ + take() + "--stop \"Great/Octave 4'\" ";
    ASSERT_EQ(rankwright(asked, home).code, 0);
    EXPECT_FALSE(std::filesystem::exists(folder / "data"));
    ASSERT_EQ(rankwright(asked + "--keep", home).code, 0);
    EXPECT_TRUE(std::filesystem::exists(folder / "data/rankwright/tuning-book.sqlite"));
    // A file where a folder should be: the book can't be made there, the figures are shown all the
    // same.
    std::ofstream(folder / "file") << "no folder";
    const Outcome outcome =
        rankwright(asked + "--book '" + (folder / "file" / "book.sqlite").string() + "'",
                   "TMPDIR='" + (folder / "").string() + "' ");
    EXPECT_EQ(outcome.code, 2);
    EXPECT_EQ(outcome.json()["readings"].size(), 8U);
    EXPECT_THAT(outcome.error, HasSubstr("book"));
}

TEST_F(SurveyCommand, SaysWhatIsWrong) {
    test::Scene noise(kRate, 4.0, 9);
    noise.add_white(0.1, 20.0).add_knock(2.0, 0.3);
    ASSERT_TRUE(write_sound(folder / "noise.wav", noise.floats(), kRate));
    const std::string stop = "--stop \"Great/Octave 4'\"";
    const std::string noise_file = "'" + (folder / "noise.wav").string() + "' ";
    const Outcome nothing = rankwright("survey --json " + organ + noise_file + stop);
    EXPECT_EQ(nothing.code, 1);
    EXPECT_TRUE(nothing.json()["pitch_hz"].is_null());
    EXPECT_TRUE(nothing.json()["readings"].empty());
    EXPECT_THAT(nothing.error, HasSubstr("no pipe of Octave 4"));

    EXPECT_EQ(rankwright("survey " + organ + "/nowhere.wav " + stop).code, 2);
    EXPECT_EQ(rankwright("survey " + organ + noise_file).code, 2);
    EXPECT_EQ(rankwright("survey /nowhere.toml " + noise_file + stop).code, 2);
    const Outcome unknown = rankwright("survey " + organ + noise_file + "--stop 'Octave 5'");
    EXPECT_EQ(unknown.code, 2);
    EXPECT_THAT(unknown.error, HasSubstr("Did you mean"));
    const Outcome mixture = rankwright("survey " + organ + noise_file + "--stop 'Mixture III'");
    EXPECT_EQ(mixture.code, 2);
    EXPECT_THAT(mixture.error, HasSubstr("--row"));
    EXPECT_EQ(rankwright("survey " + organ + noise_file + "--stop 'Mixture III' --row 9").code, 2);
    EXPECT_EQ(rankwright("survey " + organ + noise_file + "--stop 'Mixture III' --row 2").code, 1);
    EXPECT_EQ(rankwright("survey " + organ + noise_file + stop + " --temperature warm").code, 2);
}

}  // namespace survey_command_test
}  // namespace rankwright::testing
