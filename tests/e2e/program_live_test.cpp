// The real program hears sound played into a virtual microphone.
#include "support/sound_files.h"
#include "support/sound_server.h"
#include "support/tones.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <csignal>
#include <functional>
#include <random>
#include <sstream>
#include <string>
#include <thread>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>
#include <nlohmann/json.hpp>

namespace rankwright {
namespace program_live_test {

using Json = nlohmann::json;
using std::chrono::seconds;
using ::testing::HasSubstr;
using ::testing::IsEmpty;
using testing::Process;
using testing::read_text;
using testing::SoundServer;

constexpr const char* kProgram = RANKWRIGHT_PROGRAM;
// Sound played into the virtual microphone keeps the file's own clock, so nothing but the reading
// itself stands between the file's pitch and the figure.
constexpr double kBudgetCents = 0.1;

bool await(const std::function<bool()>& wanted, seconds time) {
    const auto end = std::chrono::steady_clock::now() + time;
    while (std::chrono::steady_clock::now() < end) {
        if (wanted()) return true;
        std::this_thread::sleep_for(std::chrono::milliseconds{20});
    }
    return wanted();
}

class ProgramLive : public ::testing::Test {
  protected:
    Process run(std::vector<std::string> arguments) const {
        arguments.insert(arguments.begin(), kProgram);
        return Process(arguments, out_, errors_);
    }
    std::filesystem::path write_tone(const char* name, double hz, double length) const {
        std::mt19937_64 random(7);
        auto tone = testing::sawtooth_like(hz, 48000.0, length, 8, 0.2, random);
        auto samples = testing::render(tone);
        testing::add_white(samples, testing::power(tone) * 1e-4, random);  // 40 dB
        const auto path = server_.folder() / name;
        EXPECT_TRUE(testing::write_sound(path, samples, 48000));
        return path;
    }
    // The readings printed so far; a line that is still being written doesn't count.
    std::vector<Json> readings() const {
        const std::string text = read_text(out_);
        std::istringstream in(text.substr(0, text.rfind('\n') + 1));
        std::vector<Json> lines;
        for (std::string line; std::getline(in, line);)
            if (!line.empty()) lines.push_back(Json::parse(line));
        return lines;
    }
    bool heard(double hz, seconds time) const {
        return await(
            [&] {
                const auto lines = readings();
                return !lines.empty() &&
                       std::abs(testing::cents(hz, lines.back()["hz"])) < kBudgetCents;
            },
            time);
    }
    bool said(const char* text, seconds time) const {
        return await([&] { return read_text(errors_).find(text) != std::string::npos; }, time);
    }
    SoundServer server_;
    const std::filesystem::path out_ = server_.folder() / "out";
    const std::filesystem::path errors_ = server_.folder() / "errors";
};

// A microphone in the second socket of a sound card, nothing but hiss in the first.
TEST_F(ProgramLive, ListenHearsEitherSocket) {
    constexpr double kHz = 293.7123;
    ASSERT_TRUE(server_.start());
    std::mt19937_64 random(9);
    const auto tone = testing::sawtooth_like(kHz, 48000.0, 5.0, 8, 0.2, random);
    std::vector<float> hiss(static_cast<std::size_t>(5 * 48000));
    testing::add_white(hiss, 1e-6, random);
    std::vector<float> both;
    const auto sound = testing::render(tone);
    for (std::size_t i = 0; i < std::min(hiss.size(), sound.size()); ++i)
        both.insert(both.end(), {hiss[i], sound[i]});
    const auto path = server_.folder() / "second.wav";
    ASSERT_TRUE(testing::write_sound(path, both, 48000, 2));
    Process program = run({"listen", "--json"});
    std::this_thread::sleep_for(seconds{1});
    Process player = server_.play(path);
    EXPECT_TRUE(heard(kHz, seconds{10})) << read_text(errors_);
    program.signal(SIGINT);
    EXPECT_EQ(program.wait(seconds{10}), 0) << read_text(errors_);
}

TEST_F(ProgramLive, ListenReadsThePlayedToneRight) {
    constexpr double kHz = 293.7123;
    ASSERT_TRUE(server_.start());
    const auto wav = write_tone("tone.wav", kHz, 5.0);
    Process program = run({"listen", "--json"});
    std::this_thread::sleep_for(seconds{1});
    Process player = server_.play(wav);
    ASSERT_EQ(player.wait(seconds{20}), 0) << read_text(server_.folder() / "play.log");
    program.signal(SIGINT);
    EXPECT_EQ(program.wait(seconds{10}), 0) << read_text(errors_);
    EXPECT_THAT(read_text(errors_), IsEmpty()) << "the sound libraries' chatter must not show";

    const auto lines = readings();
    ASSERT_GE(lines.size(), 10U) << "5 s of tone, at least two readings a second expected";
    for (const Json& line : lines) {
        for (const char* key :
             {"hz", "hz_sd", "cents_sd", "from_s", "to_s", "snr_db", "clipped", "partials"})
            EXPECT_TRUE(line.contains(key)) << key << " is part of the contract";
        EXPECT_LT(std::abs(testing::cents(kHz, line["hz"])), 1.0) << line;
    }
    for (std::size_t i = lines.size() / 2; i < lines.size(); ++i)
        EXPECT_LT(std::abs(testing::cents(kHz, lines[i]["hz"])), kBudgetCents) << lines[i];
}

// The beat of two tones at the pure interval's meeting is exact by construction: n·pipe −
// m·reference.
TEST_F(ProgramLive, BeatsHearsTheReferenceAloneAndThenTheBeatOfBoth) {
    constexpr double kReference = 262.31, kBeat = -0.73;
    ASSERT_TRUE(server_.start());
    std::mt19937_64 random(8);
    auto reference = testing::sawtooth_like(kReference, 48000.0, 7.0, 8, 0.15, random);
    auto pipe = testing::sawtooth_like(kReference + kBeat, 48000.0, 5.0, 8, 0.1, random);
    auto samples = testing::render(reference);
    const auto other = testing::render(pipe);
    for (std::size_t i = 0; i < other.size(); ++i)
        samples[samples.size() - other.size() + i] += other[i];
    testing::add_white(samples, testing::power(reference) * 1e-4, random);  // 40 dB
    const auto wav = server_.folder() / "both.wav";
    ASSERT_TRUE(testing::write_sound(wav, samples, 48000));

    Process program = run({"beats", "--json", "--reference-hz", "262.3"});
    std::this_thread::sleep_for(seconds{1});
    Process player = server_.play(wav);
    ASSERT_EQ(player.wait(seconds{20}), 0) << read_text(server_.folder() / "play.log");
    program.signal(SIGINT);
    EXPECT_EQ(program.wait(seconds{10}), 0) << read_text(errors_);
    EXPECT_THAT(read_text(errors_), IsEmpty());

    const auto lines = readings();
    ASSERT_GE(lines.size(), 10U) << "5 s of both, at least two readings a second expected";
    for (const Json& line : lines)
        for (const char* key :
             {"reference_hz", "pipe_hz", "beat_hz", "beat_sd", "cents", "under_hz", "drawing"})
            EXPECT_TRUE(line.contains(key)) << key << " is part of the contract";
    for (std::size_t i = lines.size() / 2; i + 2 < lines.size(); ++i) {
        EXPECT_NEAR(lines[i]["beat_hz"].get<double>(), kBeat, 0.02) << lines[i];
        EXPECT_LT(std::abs(testing::cents(kReference, lines[i]["reference_hz"])), kBudgetCents);
        EXPECT_TRUE(lines[i]["under_hz"].is_null()) << lines[i];
    }
}

// Pitches are exact by construction, cents by the definition 1200·log2.
TEST_F(ProgramLive, MixtureHearsTheKeyThatIsHeldAndSaysItAgain) {
    constexpr double kUnison = 220.0;
    ASSERT_TRUE(server_.start());
    std::mt19937_64 random(9);
    std::vector<float> samples(48000 * 19);
    const std::vector<std::pair<double, double>> pipes{{2.0, 3.0}, {3.0, -4.0}};  // ratio, cents
    for (const auto& [ratio, off] : pipes) {
        const double hz = kUnison * ratio * std::exp2(off / 1200.0);
        const auto one = testing::render(testing::sawtooth_like(hz, 48000.0, 18.0, 8, 0.1, random));
        for (std::size_t i = 0; i < one.size(); ++i)
            samples[i + 48000] += one[i];
    }
    testing::add_white(samples, 1e-7, random);
    const auto wav = server_.folder() / "key.wav";
    ASSERT_TRUE(testing::write_sound(wav, samples, 48000));

    Process program = run({"mixture", "--json", "--unison-hz", "220", "--pipes", "2,3,4"});
    std::this_thread::sleep_for(seconds{1});
    Process player = server_.play(wav);
    ASSERT_EQ(player.wait(seconds{30}), 0) << read_text(server_.folder() / "play.log");
    program.signal(SIGINT);
    EXPECT_EQ(program.wait(seconds{10}), 0) << read_text(errors_);
    EXPECT_THAT(read_text(errors_), IsEmpty());

    const auto lines = readings();
    ASSERT_GE(lines.size(), 2U);
    for (const Json& line : lines) {
        ASSERT_EQ(line["pipes"].size(), 3U) << line;
        for (const Json& pipe : line["pipes"])
            for (const char* key :
                 {"ratio", "sounding", "hz", "cents", "cents_sd", "level_db", "unresolved_with"})
                EXPECT_TRUE(pipe.contains(key)) << key << " is part of the contract";
        for (std::size_t i = 0; i < pipes.size(); ++i) {
            ASSERT_EQ(line["pipes"][i]["sounding"], true) << line;
            EXPECT_NEAR(line["pipes"][i]["cents"].get<double>(), pipes[i].second, kBudgetCents);
        }
        EXPECT_NE(line["pipes"][2]["sounding"], true) << line;
    }
}

TEST_F(ProgramLive, ADeviceThatIsNotThereIsSaidAtOnce) {
    ASSERT_TRUE(server_.start());
    for (const char* command : {"listen", "beats", "mixture"}) {
        std::vector<std::string> words{command, "--device", "no such microphone"};
        if (words[0] == "beats") words.insert(words.end(), {"--reference-hz", "262.3"});
        if (words[0] == "mixture")
            words.insert(words.end(), {"--unison-hz", "220", "--pipes", "2"});
        Process program = run(words);
        EXPECT_EQ(program.wait(seconds{20}), 2) << command;
        EXPECT_THAT(read_text(errors_), HasSubstr("no sound input \"no such microphone\""));
        EXPECT_THAT(read_text(errors_), HasSubstr("choose one of these"));
    }
}

TEST_F(ProgramLive, ListenSurvivesTheSoundServerKilledAndRestarted) {
    constexpr double kBefore = 220.5;
    constexpr double kAfter = 370.25;
    ASSERT_TRUE(server_.start());
    const auto first = write_tone("first.wav", kBefore, 20.0);
    const auto second = write_tone("second.wav", kAfter, 20.0);
    Process program = run({"listen", "--json"});
    {
        const Process player = server_.play(first);
        ASSERT_TRUE(heard(kBefore, seconds{15})) << read_text(errors_);
        server_.kill();
    }
    ASSERT_TRUE(said("The microphone went away", seconds{10})) << read_text(errors_);
    ASSERT_TRUE(server_.start());
    const Process player = server_.play(second);
    ASSERT_TRUE(heard(kAfter, seconds{18})) << read_text(errors_);
    program.signal(SIGTERM);
    EXPECT_EQ(program.wait(seconds{10}), 0);
}

TEST_F(ProgramLive, ListenStopsCleanlyAndSaysThatNothingWasHeard) {
    ASSERT_TRUE(server_.start());
    for (const int number : {SIGINT, SIGTERM}) {
        Process program = run({"listen", "--json"});
        std::this_thread::sleep_for(seconds{2});
        ASSERT_EQ(program.wait(std::chrono::milliseconds{0}), -1) << read_text(errors_);
        program.signal(number);
        EXPECT_EQ(program.wait(seconds{10}), 1);
        EXPECT_THAT(read_text(out_), IsEmpty());
        EXPECT_THAT(read_text(errors_), HasSubstr("no steady pipe was heard"));
    }
}

TEST_F(ProgramLive, ListenWithoutAMicrophoneSaysWhatToDo) {
    Process program = run({"listen", "--json"});
    EXPECT_TRUE(said("Plug in a microphone", seconds{10})) << read_text(errors_);
    program.signal(SIGINT);
    EXPECT_NE(program.wait(seconds{10}), -1);
}

TEST_F(ProgramLive, InputsAreListed) {
    ASSERT_TRUE(server_.start());
    EXPECT_EQ(run({"inputs", "--json"}).wait(seconds{10}), 0) << read_text(errors_);
    const Json inputs = Json::parse(read_text(out_))["inputs"];
    EXPECT_THAT(read_text(errors_), IsEmpty());
    const auto named = [&](const char* name) {
        return std::count_if(inputs.begin(), inputs.end(),
                             [name](const Json& input) { return input["name"] == name; });
    };
    EXPECT_EQ(named("organloft"), 1) << inputs;
    EXPECT_EQ(named("default"), 1) << inputs;

    EXPECT_EQ(run({"inputs"}).wait(seconds{10}), 0);
    EXPECT_THAT(read_text(out_), HasSubstr("organloft"));
}

TEST_F(ProgramLive, InputsWithoutAnySayWhatToDo) {
    EXPECT_EQ(run({"inputs", "--json"}).wait(seconds{10}), 1);
    EXPECT_EQ(Json::parse(read_text(out_)), Json::parse(R"({"inputs": []})"));
    EXPECT_THAT(read_text(errors_), HasSubstr("plug in a microphone"));
}

}  // namespace program_live_test
}  // namespace rankwright
