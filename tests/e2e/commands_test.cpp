// What all commands have in common, and those of few tests, as a user runs them on small files.
#include "support/command_sounds.h"
#include "support/program.h"

#include <cmath>
#include <fstream>
#include <random>
#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::testing {
namespace commands_test {

const std::string kOrgan = std::string("'") + RANKWRIGHT_INSTRUMENTS + "/emberlow.toml'";

using Commands = CommandSounds;

TEST_F(Commands, HelpAndVersionAreDone) {
    EXPECT_EQ(rankwright("--help").code, 0);
    EXPECT_EQ(rankwright("--version").code, 0);
    for (const char* command :
         {"listen", "targets", "check", "inputs", "chamber", "beats", "mixture"}) {
        const Outcome help = rankwright(std::string(command) + " --help");
        EXPECT_EQ(help.code, 0) << command;
        EXPECT_FALSE(help.out.empty()) << command;
    }
}

TEST_F(Commands, BadArgumentsEndWithTwoAndSayWhat) {
    for (const char* arguments :
         {"nonsense", "listen --near x", "targets", "listen --channel 0 x.wav", "check"}) {
        const Outcome outcome = rankwright(arguments);
        EXPECT_EQ(outcome.code, 2) << arguments;
        EXPECT_FALSE(outcome.error.empty()) << arguments;
        EXPECT_TRUE(outcome.out.empty()) << arguments;
    }
}

// Two sawtooth-like tones made here; the beat of the coincident partials, n·pipe − m·reference, is
// exact by construction, and above the reference is sharp.
TEST_F(Commands, BeatsSaysTheBeatWithItsSignForEveryInterval) {
    const struct {
        int m, n;
        double beat;
    } cases[] = {{1, 1, 0.62}, {1, 2, -0.8}, {2, 1, 0.5}, {3, 2, -1.1}};
    const double reference = 262.31;
    const auto alone = tone(reference, 2.0, 44100);
    const std::string reference_file = file("alone.wav", alone, 44100);
    for (const auto& one : cases) {
        const double pipe = (one.m * reference + one.beat) / one.n;
        auto both = tone(reference, 3.0, 44100);
        const auto other = tone(pipe, 3.0, 44100);
        for (std::size_t i = 0; i < both.size(); ++i)
            both[i] = 0.5F * (both[i] + other[i]);
        const std::string path = file("both.wav", both, 44100);
        const std::string interval =
            " --interval " + std::to_string(one.m) + ":" + std::to_string(one.n) + " ";
        for (const std::string& known :
             {std::string("--reference-hz 262.31"), "--reference " + reference_file}) {
            SCOPED_TRACE(interval + known);
            const Outcome outcome = rankwright("beats --json " + known + interval + path);
            ASSERT_EQ(outcome.code, 0) << outcome.error;
            const auto json = outcome.json();
            EXPECT_NEAR(json["beat_hz"].get<double>(), one.beat, 0.01);
            EXPECT_NEAR(json["reference_hz"].get<double>(), reference, 0.01);
            EXPECT_NEAR(json["pipe_hz"].get<double>(), pipe, 0.01);
            EXPECT_NEAR(json["cents"].get<double>(),
                        1200.0 * std::log2(pipe * one.n / (reference * one.m)), 0.05);
            EXPECT_TRUE(json["under_hz"].is_null());
            EXPECT_TRUE(json.contains("drawing"));
            EXPECT_LT(json["beat_sd"].get<double>(), 0.02);
        }
    }
}

TEST_F(Commands, BeatsHearsOnlyTheSpanAskedFor) {
    // First half a second sharp, then as much flat.
    auto both = tone(300.0, 4.0, 48000);
    const auto sharp = tone(300.9, 2.0, 48000);
    const auto flat = tone(299.1, 2.0, 48000);
    for (std::size_t i = 0; i < both.size(); ++i)
        both[i] = 0.5F * (both[i] + (i < sharp.size() ? sharp[i] : flat[i - sharp.size()]));
    const std::string path = file("turns.wav", both, 48000);
    const std::string ask = "beats --json --reference-hz 300.00 " + path;
    EXPECT_NEAR(rankwright(ask + " --to 2").json()["beat_hz"].get<double>(), 0.9, 0.02);
    EXPECT_NEAR(rankwright(ask + " --from 2").json()["beat_hz"].get<double>(), -0.9, 0.02);
}

TEST_F(Commands, BeatsRefusesWhatItCannotUseAndSaysWhenThereIsNoPair) {
    const std::string path = file("one.wav", tone(262.31, 2.0, 48000), 48000);
    for (const std::string& arguments :
         {path, "--reference-hz 262 --reference " + path + " " + path,
          "--reference-hz high " + path, "--reference-hz 262 --interval 2/1 " + path,
          "--reference-hz 262 --interval 0:1 " + path, std::string("--reference-hz 262 /no.wav"),
          "--reference /no.wav " + path}) {
        const Outcome outcome = rankwright("beats " + arguments);
        EXPECT_EQ(outcome.code, 2) << arguments;
        EXPECT_FALSE(outcome.error.empty()) << arguments;
    }
    std::vector<float> hiss(96000);
    std::normal_distribution<float> noise(0.0F, 0.1F);
    for (float& x : hiss)
        x = noise(random);
    const std::string nothing = file("hiss.wav", hiss, 48000);
    for (const std::string& arguments :
         {"--reference-hz 262.31 " + nothing, "--reference " + nothing + " " + path}) {
        const Outcome outcome = rankwright("beats --json " + arguments);
        EXPECT_EQ(outcome.code, 1) << arguments;
        EXPECT_TRUE(outcome.json()["beat_hz"].is_null()) << arguments;
    }
}

TEST_F(Commands, CheckFindsEveryMistakeWithItsPlace) {
    EXPECT_EQ(rankwright("check " + kOrgan).code, 0);
    EXPECT_EQ(rankwright("check --json " + kOrgan).json()["errors"].size(), 0U);

    std::ifstream in(std::string(RANKWRIGHT_INSTRUMENTS) + "/emberlow.toml");
    std::ostringstream text;
    text << in.rdbuf();
    std::ofstream(folder / "bad.toml") << "nmae = \"x\"\n" << text.str() << "\nfootage = 7\n";
    const Outcome outcome = rankwright("check --json '" + (folder / "bad.toml").string() + "'");
    EXPECT_EQ(outcome.code, 2);
    const auto errors = outcome.json()["errors"];
    ASSERT_GE(errors.size(), 2U) << outcome.out;
    EXPECT_EQ(errors[0]["line"], 1);
    EXPECT_EQ(errors[0]["column"], 1);
    EXPECT_NE(errors[0]["message"].get<std::string>().find("name"), std::string::npos);
}

TEST_F(Commands, NewWritesAFileThatIsSoundAndOverwritesNothing) {
    const std::string path = "'" + (folder / "mine.toml").string() + "'";
    const std::string answers =
        "printf 'Testing Organ\\n\\n443\\n20C\\nWerckmeister 3\\nWerckmeister III\\nManual\\n54\\n"
        "Gedackt 8, Flute 4, Sesquialtera II\\n' | ";
    EXPECT_EQ(rankwright("new " + path, answers).code, 0);
    EXPECT_EQ(rankwright("check " + path).code, 0) << rankwright("check " + path).error;
    const auto json = rankwright("targets --json " + path).json();
    EXPECT_EQ(json["organ"], "Testing Organ");
    EXPECT_NEAR(json["pitch_hz"].get<double>(), 443.0, 1e-9);
    EXPECT_EQ(rankwright("new " + path, answers).code, 2) << "nothing is overwritten";
    EXPECT_EQ(rankwright("new '" + (folder / "plain.toml").string() + "' </dev/null").code, 0);
}

TEST_F(Commands, NewAsksNothingWhereItCannotWrite) {
    const Outcome outcome = rankwright("new /nowhere/mine.toml </dev/null");
    EXPECT_EQ(outcome.code, 2);
    EXPECT_EQ(outcome.out, "");
    EXPECT_NE(outcome.error.find("/nowhere"), std::string::npos) << outcome.error;
}

TEST_F(Commands, ChamberRefusesBadInputBeforeOpeningAWindow) {
    EXPECT_EQ(rankwright("chamber /nowhere/organ.toml").code, 2);
    EXPECT_EQ(rankwright("chamber --stop 'No such stop' " + kOrgan).code, 2);
    EXPECT_EQ(rankwright("chamber --input /nowhere/sound.wav " + kOrgan).code, 2);
    EXPECT_EQ(rankwright("chamber --input mic --technician simulated " + kOrgan).code, 2);
    EXPECT_EQ(rankwright("chamber --list --job survey --stop \"Great/Octave 4'\" " + kOrgan).code,
              2);
}

}  // namespace commands_test
}  // namespace rankwright::testing
