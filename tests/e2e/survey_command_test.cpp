// `rankwright survey` as a user runs it. The tones are made here; their pitches are exact by
// construction, cents by the definition 1200·log2.
#include "support/program.h"
#include "support/scene.h"
#include "support/sound_files.h"

#include <cmath>
#include <map>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::testing {
namespace {

using ::testing::HasSubstr;

struct SurveyCommand : ::testing::Test {
    static constexpr int kRate = 22050;
    TemporaryFolder folder;
    const std::string organ = std::string("'") + RANKWRIGHT_INSTRUMENTS + "/emberlow.toml' ";

    static double off(int key) { return key == 4 ? 20.0 : 0.5 * (key % 3 - 1); }
    /// The lowest keys of Great/Octave 4′ at A 437.5, one of them left out.
    std::string take(int channels = 1, int format = SF_FORMAT_WAV | SF_FORMAT_PCM_16) {
        test::Scene scene(kRate, 20.0, 3);
        double now = 0.5;
        for (int key = 1; key <= 9; ++key) {
            if (key == 6) continue;
            scene.add({.hz = 437.5 * std::exp2((key - 22) / 12.0 + off(key) / 1200.0),
                       .from_s = now,
                       .to_s = now + 1.7,
                       .decay_s = 0.3,
                       .phase_seed = static_cast<std::uint64_t>(key)});
            now += 2.1;
        }
        scene.add_white(0.1, 40.0).add_voice(4.7, 0.3, 0.02);
        std::vector<float> samples;
        for (const float x : scene.floats())
            for (int c = 0; c < channels; ++c)
                samples.push_back(c == 1 ? 0.5F * x : x);
        const auto path =
            folder / (format == (SF_FORMAT_WAV | SF_FORMAT_PCM_16) ? "rank.wav" : "rank.flac");
        EXPECT_TRUE(write_sound(path, samples, kRate, channels, format));
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

}  // namespace
}  // namespace rankwright::testing
