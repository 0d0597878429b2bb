// `rankwright mixture` as a user runs it. The tones are made here; their pitches are exact by
// construction, cents by the definition 1200·log2.
#include "support/program.h"
#include "support/scene.h"
#include "support/sound_files.h"
#include "support/tones.h"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <random>
#include <utility>

#include <gtest/gtest.h>

namespace rankwright::testing {
namespace mixture_command_test {

struct MixtureCommand : ::testing::Test {
    static constexpr int kRate = 44100;
    static constexpr double kUnison_hz = 220.0;
    TemporaryFolder folder;
    std::mt19937_64 random{2027};

    struct Sound {
        double hz, level;
    };
    std::string file(const std::vector<Sound>& pipes, double seconds = 2.4) {
        std::vector<float> sum(static_cast<std::size_t>(kRate * seconds));
        for (const Sound& pipe : pipes) {
            const auto one = render(sawtooth_like(pipe.hz, kRate, seconds, 8, pipe.level, random));
            for (std::size_t i = 0; i < std::min(sum.size(), one.size()); ++i)
                sum[i] += one[i];
        }
        add_white(sum, 1e-8, random);
        EXPECT_TRUE(
            write_sound(folder / "key.wav", sum, kRate, 1, SF_FORMAT_WAV | SF_FORMAT_FLOAT));
        return "'" + (folder / "key.wav").string() + "'";
    }
    static double sharp(double ratio, double by) {
        return kUnison_hz * ratio * std::exp2(by / 1200.0);
    }
};

TEST_F(MixtureCommand, SaysWhichPipesSoundAndHowFarFromPure) {
    const std::string path =
        file({{sharp(1.5, -4.0), 0.1}, {sharp(2.0, 3.0), 0.08}, {sharp(3.0, 1.5), 0.1}});
    const Outcome outcome = rankwright("mixture --json --unison-hz 220 --pipes 3/2,2,3,5 " + path);
    ASSERT_EQ(outcome.code, 0) << outcome.error;
    const auto pipes = outcome.json()["pipes"];
    ASSERT_EQ(pipes.size(), 4U);
    EXPECT_EQ(pipes[0]["ratio"], "3/2");
    EXPECT_EQ(pipes[3]["ratio"], "5");
    const double expected[] = {-4.0, 3.0, 1.5};
    for (std::size_t i = 0; i < 3; ++i) {
        ASSERT_EQ(pipes[i]["sounding"], true) << pipes[i];
        EXPECT_NEAR(pipes[i]["cents"].get<double>(), expected[i], 0.05) << pipes[i];
        EXPECT_LT(pipes[i]["cents_sd"].get<double>(), 0.1);
        EXPECT_TRUE(pipes[i]["hz"].is_number() && pipes[i]["level_db"].is_number());
    }
    EXPECT_EQ(pipes[3]["sounding"], false) << pipes[3];
    for (const char* key : {"hz", "cents", "cents_sd", "level_db"})
        EXPECT_TRUE(pipes[3][key].is_null()) << key;
    EXPECT_TRUE(pipes[3]["unresolved_with"].is_array());
    EXPECT_EQ(rankwright("mixture --unison-hz 220 --pipes 3/2,2,3,5 " + path).code, 0);
}

// Which of two pipes of one pitch is which can't be heard: common practice, no source.
TEST_F(MixtureCommand, SaysThatTwoPipesOfOnePitchMayBeEither) {
    const std::string path =
        file({{sharp(2.0, 3.0), 0.1}, {sharp(4.0, 5.0), 0.06}, {sharp(4.0, -4.0), 0.08}});
    const std::string arguments = "--unison-hz 220 --pipes 2,4,4 " + path;
    const auto pipes = rankwright("mixture --json " + arguments).json()["pipes"];
    EXPECT_TRUE(pipes[0]["twin_rows"].empty());
    EXPECT_EQ(pipes[1]["twin_rows"], std::vector<int>{3});
    EXPECT_EQ(pipes[2]["twin_rows"], std::vector<int>{2});
    const double one = pipes[1]["cents"].get<double>(), other = pipes[2]["cents"].get<double>();
    EXPECT_NEAR(std::max(one, other), 5.0, 0.05);
    EXPECT_NEAR(std::min(one, other), -4.0, 0.05);
    EXPECT_NE(rankwright("mixture " + arguments).out.find("which of the pipes of this pitch"),
              std::string::npos);
}

// In unison there is no beat to wait for (its definition): one of the two has to be silenced.
TEST_F(MixtureCommand, SaysOfAPipeThatCantBeToldBehindWhichItHidesAndWhatToDo) {
    const std::string path =
        file({{sharp(4.0, 0.1), 0.1}, {sharp(6.0, 0.2), 0.1}, {sharp(8.0, -0.1), 0.08}});
    const std::string arguments = "--unison-hz 220 --pipes 4,6,8,8 " + path;
    const auto pipes = rankwright("mixture --json " + arguments).json()["pipes"];
    EXPECT_TRUE(pipes[3]["sounding"].is_null()) << pipes[3];
    EXPECT_EQ(pipes[3]["untold"], "hidden");
    EXPECT_EQ(pipes[3]["row"], 4);
    EXPECT_EQ(pipes[3]["unresolved_with"], std::vector<std::string>{"8"});
    EXPECT_EQ(pipes[3]["unresolved_rows"], std::vector<int>{3});
    EXPECT_EQ(pipes[3]["mute_one"], true);
    EXPECT_TRUE(pipes[0]["untold"].is_null());
    const std::string text = rankwright("mixture " + arguments).out;
    EXPECT_NE(text.find("second 8  can't be told yet: it may hide behind first 8"),
              std::string::npos)
        << text;
    EXPECT_NE(text.find("mute first 8"), std::string::npos) << text;
}

// What a user has who records a key from before it is pressed until after it is let go: speech and
// the dying away are no part of any pipe's standing pitch.
TEST_F(MixtureCommand, LeavesOutSilenceSpeechAndTheEnd) {
    test::Scene scene(kRate, 6.0, 3);
    // A pipe speaks sharp, and its tuning falls with the wind when the key is let go.
    const auto bend = [](double cents) {
        return [cents](double t) {
            return cents + 12.0 * std::exp(-std::max(0.0, t - 1.0) / 0.07) -
                   400.0 * std::max(0.0, t - 4.0);
        };
    };
    const std::pair<double, double> made[] = {{2.0, -1.7}, {3.0, -4.5}, {4.0, -2.2}};
    for (const auto& [ratio, cents] : made)
        scene.add(test::Tone{.hz = kUnison_hz * ratio,
                             .level = 0.1,
                             .from_s = 1.0,
                             .to_s = 4.0,
                             .attack_s = 0.1,
                             .decay_s = 1.5,
                             .cents = bend(cents),
                             .phase_seed = static_cast<std::uint64_t>(ratio)});
    scene.add_white(0.1, 45.0);
    ASSERT_TRUE(write_sound(folder / "whole.wav", scene.floats(), kRate, 1,
                            SF_FORMAT_WAV | SF_FORMAT_FLOAT));
    // Also where more is asked for than the key was held.
    for (const char* span : {"", " --from 0.5 --to 6"}) {
        const Outcome outcome = rankwright("mixture --json --unison-hz 220 --pipes 2,3,4,6 '" +
                                           (folder / "whole.wav").string() + "'" + span);
        ASSERT_EQ(outcome.code, 0) << outcome.error;
        const auto answer = outcome.json();
        for (std::size_t i = 0; i < 3; ++i) {
            EXPECT_EQ(answer["pipes"][i]["sounding"], true) << answer;
            EXPECT_NEAR(answer["pipes"][i]["cents"].get<double>(), made[i].second, 0.1) << answer;
        }
        EXPECT_NE(answer["pipes"][3]["sounding"], true) << answer;
        EXPECT_NEAR(answer.value("from_s", 0.0), 1.4, 0.2);
        EXPECT_NEAR(answer.value("to_s", 0.0), 3.8, 0.2);
    }
}

// The pipes wander by a tenth of a cent.
TEST_F(MixtureCommand, HearsAKeyThatIsHeldForLong) {
    test::Scene scene(kRate, 20.0, 4);
    const std::pair<double, double> made[] = {{4.0, 2.0}, {6.0, -1.5}, {8.0, 3.1}, {12.0, -4.0}};
    for (const auto& [ratio, cents] : made)
        scene.add(test::Tone{.hz = kUnison_hz * ratio,
                             .level = 0.1,
                             .from_s = -1.0,
                             .cents =
                                 [ratio = ratio, cents = cents](double t) {
                                     return cents + 0.1 * std::sin((0.9 + 0.13 * ratio) * t) +
                                            0.07 * std::sin((2.1 + 0.2 * ratio) * t + ratio);
                                 },
                             .phase_seed = static_cast<std::uint64_t>(ratio)});
    scene.add_white(0.1, 45.0);
    ASSERT_TRUE(write_sound(folder / "long.wav", scene.floats(), kRate, 1,
                            SF_FORMAT_WAV | SF_FORMAT_FLOAT));
    for (const char* span : {"", " --from 1 --to 19"}) {
        const Outcome outcome = rankwright("mixture --json --unison-hz 220 --pipes 4,6,8,12 '" +
                                           (folder / "long.wav").string() + "'" + span);
        ASSERT_EQ(outcome.code, 0) << outcome.error;
        const auto pipes = outcome.json()["pipes"];
        for (std::size_t i = 0; i < 4; ++i) {
            EXPECT_EQ(pipes[i]["sounding"], true) << pipes;
            EXPECT_NEAR(pipes[i]["cents"].get<double>(), made[i].second, 0.2) << pipes;
        }
    }
}

// Out of reach of the search isn't silent.
TEST_F(MixtureCommand, CallsNoPipeSilentThatStandsFarOff) {
    for (const double off : {26.0, -35.0, 50.0}) {
        const std::string path =
            file({{sharp(4.0, 2.0), 0.1}, {sharp(6.0, off), 0.08}, {sharp(8.0, 3.0), 0.1}});
        const auto pipes =
            rankwright("mixture --json --unison-hz 220 --pipes 4,6,8 " + path).json()["pipes"];
        EXPECT_EQ(pipes[0]["sounding"], true) << pipes;
        EXPECT_TRUE(pipes[1]["sounding"].is_null()) << pipes;
        EXPECT_NEAR(pipes[1].value("stray_cents", 0.0), off, 3.0) << pipes;
        EXPECT_EQ(pipes[2]["sounding"], true) << pipes;
    }
}

// A treble of one partial that wanders by a third of a cent: so broad a line is no noise.
TEST_F(MixtureCommand, SaysThatATonePerhapsTooUnsteadyIsThere) {
    test::Scene scene(kRate, 4.0, 5);
    scene.add(test::Tone{.hz = 6220.0,
                         .timbre = test::falling_timbre(1),
                         .level = 0.1,
                         .from_s = -1.0,
                         .cents =
                             [](double t) {
                                 return 0.35 * std::sin(5.3 * t) + 0.3 * std::sin(11.9 * t + 1.0) +
                                        0.3 * std::sin(19.0 * t + 2.0);
                             },
                         .phase_seed = 8});
    scene.add_white(0.1, 45.0);
    ASSERT_TRUE(write_sound(folder / "treble.wav", scene.floats(), kRate, 1,
                            SF_FORMAT_WAV | SF_FORMAT_FLOAT));
    const auto pipe = rankwright("mixture --json --unison-hz 777.5 --pipes 8 '" +
                                 (folder / "treble.wav").string() + "'")
                          .json()["pipes"][0];
    EXPECT_EQ(pipe["untold"], "unsteady") << pipe;
    EXPECT_NEAR(pipe.value("stray_cents", 99.0), 0.0, 2.0) << pipe;
}

TEST_F(MixtureCommand, SaysThatTheUnisonIsWrongWhereAllPipesStandBeside) {
    const std::string path =
        file({{sharp(4.0, 30.0), 0.1}, {sharp(6.0, 31.0), 0.08}, {sharp(8.0, 32.0), 0.1}});
    const Outcome outcome = rankwright("mixture --json --unison-hz 220 --pipes 4,6,8 " + path);
    EXPECT_EQ(outcome.code, 1);
    EXPECT_NE(outcome.error.find("check --unison-hz"), std::string::npos) << outcome.error;
    EXPECT_NE(outcome.error.find("25 cents"), std::string::npos) << outcome.error;
    const auto answer = outcome.json();
    for (const auto& pipe : answer["pipes"])
        EXPECT_TRUE(pipe["sounding"].is_null()) << pipe;
}

// A converter's constant is no pipe.
TEST_F(MixtureCommand, HearsNothingInAConstant) {
    ASSERT_TRUE(write_sound(folder / "constant.wav", std::vector<float>(kRate * 2, 0.3F), kRate, 1,
                            SF_FORMAT_WAV | SF_FORMAT_FLOAT));
    const std::string path = "'" + (folder / "constant.wav").string() + "'";
    EXPECT_EQ(rankwright("mixture --unison-hz 262.3 --pipes 4,6,8,12 " + path).code, 1);
    EXPECT_EQ(rankwright("beats --reference-hz 440 " + path).code, 1);
}

// Products of clipping stand where pipes of the key may: design, "What lies".
TEST_F(MixtureCommand, SaysThatARecordingIsOverloaded) {
    std::vector<float> sum(kRate * 2);
    for (std::size_t i = 0; i < sum.size(); ++i) {
        const double t = static_cast<double>(i) / kRate;
        sum[i] =
            static_cast<float>(std::clamp(0.9 * std::sin(2.0 * std::numbers::pi * 440.0 * t) +
                                              0.9 * std::sin(2.0 * std::numbers::pi * 661.0 * t),
                                          -1.0, 1.0));
    }
    ASSERT_TRUE(write_sound(folder / "loud.wav", sum, kRate, 1, SF_FORMAT_WAV | SF_FORMAT_FLOAT));
    const std::string path = "'" + (folder / "loud.wav").string() + "'";
    const Outcome mixture = rankwright("mixture --json --unison-hz 220 --pipes 2,3 " + path);
    EXPECT_NE(mixture.error.find("overloaded"), std::string::npos) << mixture.error;
    EXPECT_GT(mixture.json().value("clipped", 0.0), 0.01);
    const Outcome beats = rankwright("beats --json --reference-hz 440 " + path);
    EXPECT_NE(beats.error.find("overloaded"), std::string::npos) << beats.error;
    EXPECT_GT(beats.json().value("clipped", 0.0), 0.01);
}

TEST_F(MixtureCommand, HearsAReferenceBesideThePipes) {
    const std::string path = file({{220.1, 0.1}, {sharp(2.0, 5.0), 0.1}});
    const auto json =
        rankwright("mixture --json --unison-hz 220 --reference-hz 220.1 --pipes 2 " + path).json();
    EXPECT_NEAR(json["pipes"][0]["cents"].get<double>(), 5.0, 0.05);
    EXPECT_NEAR(json["reference"]["hz"].get<double>(), 220.1, 0.01);
}

TEST_F(MixtureCommand, RefusesWhatItCannotUseAndSaysWhatToWrite) {
    const std::string path = file({{440.0, 0.1}});
    for (const char* arguments :
         {"--pipes 2,3", "--unison-hz 220", "--unison-hz 220 --pipes 2,,3",
          "--unison-hz 220 --pipes 40", "--unison-hz 220 --pipes 1/3",
          "--unison-hz 220 --pipes two", "--unison-hz 220 --pipes 1,2,3,4,5,6,7",
          "--unison-hz 0 --pipes 2", "--unison-hz nan --pipes 2",
          "--unison-hz 220 --pipes 2 --reference-hz nan"}) {
        const Outcome outcome = rankwright("mixture " + std::string(arguments) + " " + path);
        EXPECT_EQ(outcome.code, 2) << arguments;
        EXPECT_FALSE(outcome.error.empty()) << arguments;
        EXPECT_TRUE(outcome.out.empty()) << arguments;
    }
    EXPECT_EQ(rankwright("mixture --unison-hz 220 --pipes 2 /no.wav").code, 2);
}

TEST_F(MixtureCommand, SaysWhyNothingCanBeHeardOfTooShortASpanOrAboveTheBand) {
    const std::string path = file({{sharp(4.0, 1.0), 0.1}});
    const Outcome brief =
        rankwright("mixture --unison-hz 220 --pipes 4,6 --from 1 --to 1.2 " + path);
    EXPECT_EQ(brief.code, 1);
    EXPECT_NE(brief.error.find("0.20 s are too short"), std::string::npos) << brief.error;
    EXPECT_NE(brief.error.find("0.4 s"), std::string::npos) << brief.error;
    const Outcome high = rankwright("mixture --unison-hz 9000 --pipes 4,6 " + path);
    EXPECT_EQ(high.code, 1);
    EXPECT_NE(high.error.find("above 19845 Hz"), std::string::npos) << high.error;
    // Of 44.1 kHz nine tenths of the half are used: the 120th multiple of 220 Hz lies beyond.
    const auto pipes =
        rankwright("mixture --json --unison-hz 825 --pipes 16/15,32 " + path).json()["pipes"];
    EXPECT_EQ(pipes[0]["sounding"], true) << pipes;
    EXPECT_TRUE(pipes[1]["sounding"].is_null()) << pipes;
    EXPECT_EQ(pipes[1]["untold"], "above");
}

TEST_F(MixtureCommand, SaysWhenNothingSounds) {
    const std::string path = file({});
    const Outcome outcome = rankwright("mixture --json --unison-hz 220 --pipes 2,3 " + path);
    EXPECT_EQ(outcome.code, 1);
    EXPECT_FALSE(outcome.error.empty());
    const auto answer = outcome.json();
    for (const auto& pipe : answer["pipes"])
        EXPECT_NE(pipe["sounding"], true) << pipe;
}

}  // namespace mixture_command_test
}  // namespace rankwright::testing
