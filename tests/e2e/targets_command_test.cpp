// `rankwright targets` as a user runs it.
#include "support/program.h"

#include <cmath>
#include <filesystem>
#include <fstream>
#include <map>
#include <set>
#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::testing {
namespace targets_command_test {

const std::string kOrgan = std::string("'") + RANKWRIGHT_INSTRUMENTS + "/emberlow.toml'";

// Equal temperament at A 440: C 65.406 … Hz, the MIDI standard's formula 440 · 2^((m − 69) / 12).
// Dry air: 2.95 cents a kelvin at 20 °C (ISO 9613-1:1993, A.5).
TEST(TargetsCommand, TargetsFollowPitchAndTemperature) {
    const auto typed =
        rankwright("targets --json --stop 'Great/Principal 8' --pitch 440 " + kOrgan).json();
    ASSERT_TRUE(typed.contains("pipes"));
    for (const auto& pipe : typed["pipes"]) {
        const double equal = 440.0 * std::exp2((pipe["midi"].get<int>() - 69) / 12.0);
        const double off = 1200.0 * std::log2(pipe["hz"].get<double>() / equal);
        EXPECT_NEAR(off, pipe["cents_from_equal"].get<double>(), 1e-6) << pipe;
        for (const char* key : {"id", "division", "stop", "note"})
            EXPECT_TRUE(pipe[key].is_string()) << key;
        for (const char* key : {"row", "key"})
            EXPECT_TRUE(pipe[key].is_number_integer()) << key;
    }
    const auto at = [&](const std::string& temperature) {
        return rankwright("targets --json --stop 'Great/Principal 8' --temperature " + temperature +
                          " " + kOrgan)
            .json()["pipes"][0]["hz"]
            .get<double>();
    };
    EXPECT_NEAR(1200.0 * std::log2(at("21.0C") / at("20.0C")), 2.95, 0.01);
    EXPECT_NEAR(1200.0 * std::log2(at("68F") / at("20C")), 0.0, 1e-6);
}

// The goldens are of a second reckoning in another language (golden/reckon.py).
TEST(TargetsCommand, TargetsAgreeWithTheGoldensOfEveryInstrument) {
    const std::filesystem::path goldens = RANKWRIGHT_GOLDEN;
    int compared = 0;
    for (const auto& entry : std::filesystem::directory_iterator(RANKWRIGHT_INSTRUMENTS)) {
        if (entry.path().extension() != ".toml") continue;
        const auto json = rankwright("targets --json '" + entry.path().string() + "'").json();
        ASSERT_TRUE(json.contains("pipes")) << entry.path();
        std::map<std::string, nlohmann::json> pipes;
        for (const auto& pipe : json["pipes"])
            EXPECT_TRUE(pipes.emplace(pipe["id"], pipe).second) << pipe["id"] << " twice";
        std::ifstream golden(goldens / entry.path().stem().replace_extension(".csv"));
        ASSERT_TRUE(golden) << "no golden for " << entry.path();
        for (std::string line; std::getline(golden, line); ++compared) {
            const std::size_t first = line.find(','), second = line.rfind(',');
            const auto pipe = pipes.find(line.substr(0, first));
            ASSERT_NE(pipe, pipes.end()) << line;
            const double hz = std::stod(line.substr(first + 1, second - first - 1));
            // A thousandth of a cent: the goldens' own rounding at 16 Hz.
            EXPECT_NEAR(1200.0 * std::log2(pipe->second["hz"].get<double>() / hz), 0.0, 1e-3)
                << line;
            EXPECT_NEAR(pipe->second["cents_from_equal"].get<double>(),
                        std::stod(line.substr(second + 1)), 1e-3)
                << line;
        }
    }
    EXPECT_GT(compared, 500);
}

// 345.86652 m/s at 23 °C and 50 %: IEC 61094-2:2009, Annex F (the conditions from memory).
TEST(TargetsCommand, TargetsTakeTheHumidity) {
    const auto a = [](const std::string& arguments) {
        return rankwright("targets --json " + arguments + " " + kOrgan)
            .json()["pitch_hz"]
            .get<double>();
    };
    // At home, 18 °C, 50 %: 342.740 m/s by the same formula (O. Cramer, JASA 93(5), 1993, p. 2514).
    EXPECT_NEAR(1200.0 * std::log2(a("--temperature 23C --humidity 50") / 440.0),
                1200.0 * std::log2(345.86652 / 342.740), 0.02);
    EXPECT_GT(a("--temperature 23C --humidity 80"), a("--temperature 23C --humidity 20"));
    EXPECT_EQ(rankwright("targets --humidity 50 " + kOrgan).code, 2)
        << "humid at which temperature?";
    EXPECT_EQ(rankwright("targets --temperature 20C --humidity 500 " + kOrgan).code, 2);
}

// Beats of the temperament octave F–F in equal temperament, A 440, by key of an 8′ octave from CC:
// Teki et al., J. Neurosci. 32(35), 2012, Table 1, after Capleton 2007. Emberlow sets its bearings
// on a 4′, which beats twice as fast.
TEST(TargetsCommand, BearingsBeatAsPublished) {
    const std::map<std::string, std::vector<double>> published{
        {"fifth", {-0.6, -0.6, -0.7, -0.7, -0.7, -0.8}},
        {"fourth", {0.8, 0.8, 0.9, 0.9, 1.0, 1.1, 1.1, 1.2}},
        {"major third", {6.9, 7.3, 7.8, 8.2, 8.7, 9.2, 9.8, 10.4, 11.0}},
        {"minor third", {-9.4, -10.0, -10.6, -11.2, -11.9, -12.6, -13.3, -14.1}},
        {"major sixth", {7.9, 8.4, 8.9, 9.4}},
        {"minor sixth", {-11.0, -11.7, -12.3, -13.1, -13.9}}};
    const auto json = rankwright("targets --json --bearings --pitch 440 " + kOrgan).json();
    ASSERT_TRUE(json.contains("beat_table"));
    std::map<std::string, std::vector<double>> found;
    for (const auto& beating : json["beat_table"])
        found[beating["interval"]].push_back(beating["beat_hz"].get<double>() / 2.0);
    for (const auto& [interval, beats] : published)
        for (std::size_t i = 0; i < beats.size(); ++i)
            EXPECT_NEAR(found[interval].at(i), beats[i], 0.051) << interval << " " << i;
    std::set<int> stands;
    for (const auto& step : json["bearings"]) {
        EXPECT_TRUE(step["from_key"].is_null() == stands.empty()) << step;
        if (!stands.empty()) {
            EXPECT_TRUE(stands.count(step["from_key"])) << step;
        }
        stands.insert(step["key"].get<int>());
    }
    EXPECT_EQ(stands.size(), 13U);
    const Outcome read = rankwright("targets --bearings --pitch 440 " + kOrgan);
    EXPECT_NE(read.out.find("fifth tenor F – middle C narrow, 1.18 beats a second"),
              std::string::npos)
        << read.out;
}

// Flues rise 2.95 cents a kelvin at 20 °C (ISO 9613-1:1993, A.5).
TEST(TargetsCommand, TargetsSayWhatAnotherTemperatureDoes) {
    const std::string air = " --temperature 18C --place Swell=21C ";
    const auto json = rankwright("targets --json" + air + kOrgan).json();
    ASSERT_EQ(json["warnings"].size(), 1U);
    EXPECT_NE(json["warnings"][0].get<std::string>().find("8.9 cents sharp"), std::string::npos);
    for (const auto& pipe : json["pipes"]) {
        if (pipe["division"] == "Great") {
            EXPECT_TRUE(pipe["compensated_hz"].is_null()) << "at home: " << pipe;
        }
        if (pipe["stop"] == "Geigen 8'") {
            EXPECT_NEAR(
                1200.0 * std::log2(pipe["compensated_hz"].get<double>() / pipe["hz"].get<double>()),
                8.9, 0.05);
        }
    }
    const std::string cold = " --stop 'Great/Trumpet 8' --temperature 8C ";
    const auto reed = rankwright("targets --json" + cold + kOrgan).json()["pipes"][0];
    EXPECT_LT(reed["cents_at_home"].get<double>(), -20.0) << "the flues rise, the reed hardly";
    EXPECT_NE(rankwright("targets" + cold + kOrgan).out.find("it will read"), std::string::npos);
    EXPECT_EQ(rankwright("targets --temperature 18C --place Swel=21C " + kOrgan).code, 2);
    EXPECT_EQ(rankwright("targets --place Swell=21C " + kOrgan).code, 2);
}

TEST(TargetsCommand, TargetsRefusesWhatItCannotKnow) {
    EXPECT_EQ(rankwright("targets --temperature warm " + kOrgan).code, 2);
    const Outcome unknown = rankwright("targets --stop 'Great/Prinzipal 8' " + kOrgan);
    EXPECT_EQ(unknown.code, 2);
    EXPECT_NE(unknown.error.find("Principal"), std::string::npos) << "the nearest is named";
    EXPECT_EQ(rankwright("targets /nowhere/organ.toml").code, 2);
}

}  // namespace targets_command_test
}  // namespace rankwright::testing
