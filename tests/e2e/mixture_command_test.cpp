// `rankwright mixture` as a user runs it. The tones are made here; their pitches are exact by
// construction, cents by the definition 1200·log2.
#include "support/program.h"
#include "support/sound_files.h"
#include "support/tones.h"

#include <algorithm>
#include <random>

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
    EXPECT_TRUE(pipes[0]["twin"].is_null());
    EXPECT_EQ(pipes[1]["twin"], 2);
    EXPECT_EQ(pipes[2]["twin"], 1);
    const double one = pipes[1]["cents"].get<double>(), other = pipes[2]["cents"].get<double>();
    EXPECT_NEAR(std::max(one, other), 5.0, 0.05);
    EXPECT_NEAR(std::min(one, other), -4.0, 0.05);
    EXPECT_NE(rankwright("mixture " + arguments).out.find("either of the two"), std::string::npos);
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
          "--unison-hz 0 --pipes 2"}) {
        const Outcome outcome = rankwright("mixture " + std::string(arguments) + " " + path);
        EXPECT_EQ(outcome.code, 2) << arguments;
        EXPECT_FALSE(outcome.error.empty()) << arguments;
        EXPECT_TRUE(outcome.out.empty()) << arguments;
    }
    EXPECT_EQ(rankwright("mixture --unison-hz 220 --pipes 2 /no.wav").code, 2);
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
