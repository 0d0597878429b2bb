// Every command of the program as a user runs it, on small files.
#include "support/program.h"
#include "support/sound_files.h"
#include "support/tones.h"

#include <cmath>
#include <filesystem>
#include <fstream>
#include <map>
#include <random>
#include <set>

#include <gtest/gtest.h>

namespace rankwright::testing {
namespace commands_test {

const std::string kOrgan = std::string("'") + RANKWRIGHT_INSTRUMENTS + "/emberlow.toml'";

struct Commands : ::testing::Test {
    TemporaryFolder folder;
    std::mt19937_64 random{2026};

    std::vector<float> tone(double hz, double seconds, int rate) {
        auto samples = render(sawtooth_like(hz, rate, seconds, 8, 0.3, random));
        std::normal_distribution<float> noise(0.0F, 0.001F);
        for (float& x : samples)
            x += noise(random);
        return samples;
    }
    std::string file(const std::string& name, const std::vector<float>& samples, int rate,
                     int channels = 1, int format = SF_FORMAT_WAV | SF_FORMAT_FLOAT) {
        EXPECT_TRUE(write_sound(folder / name, samples, rate, channels, format));
        return "'" + (folder / name).string() + "'";
    }
};

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

// The tone's pitch is exact by construction; f0 from the definition of the signal.
TEST_F(Commands, ListenSaysThePitchOfARecording) {
    const std::string path = file("c.wav", tone(261.6256, 2.0, 44100), 44100);
    const Outcome outcome = rankwright("listen --json " + path);
    ASSERT_EQ(outcome.code, 0) << outcome.error;
    const auto json = outcome.json();
    EXPECT_NEAR(1200.0 * std::log2(json["hz"].get<double>() / 261.6256), 0.0, 0.01);
    for (const char* key : {"hz_sd", "cents_sd", "from_s", "to_s", "snr_db", "clipped"})
        EXPECT_TRUE(json[key].is_number()) << key;
    EXPECT_GE(json["partials"].size(), 6U);
    // Partial k of the tone is 1/k as loud as the first: −6.02 dB an octave.
    const auto partials = json["partials"];
    EXPECT_NEAR(partials[1]["level_db"].get<double>() - partials[0]["level_db"].get<double>(),
                -6.02, 0.2);
    EXPECT_EQ(rankwright("listen " + path).code, 0);
}

TEST_F(Commands, ListenTakesASpanAndAChannel) {
    std::vector<float> both;
    const auto left = tone(220.0, 2.0, 48000);
    const auto right = tone(330.0, 2.0, 48000);
    for (std::size_t n = 0; n < left.size(); ++n) {
        both.push_back(left[n]);
        both.push_back(right[n]);
    }
    const std::string path = file("two.flac", both, 48000, 2, SF_FORMAT_FLAC | SF_FORMAT_PCM_24);
    const auto second = rankwright("listen --json --channel 2 --from 0.5 --to 1.5 " + path).json();
    EXPECT_NEAR(second["hz"].get<double>(), 330.0, 0.01);
    EXPECT_NEAR(second["from_s"].get<double>(), 0.5, 0.02);
    EXPECT_NEAR(second["to_s"].get<double>(), 1.5, 0.02);
    EXPECT_EQ(rankwright("listen --channel 3 " + path).code, 2);
}

TEST_F(Commands, ListenTakesTheChannelThatHearsThePipe) {
    const auto pipe = tone(262.3, 2.0, 48000);
    std::vector<float> hum = render(sawtooth_like(50.0, 48000, 2.0, 6, 0.02, random));
    std::vector<float> hiss(pipe.size());
    std::normal_distribution<float> noise(0.0F, 0.2F);
    for (float& x : hiss)
        x = noise(random);
    const std::vector<float> dead(pipe.size(), 0.0F);
    for (const auto& other : {dead, hum, hiss}) {
        std::vector<float> both;
        for (std::size_t n = 0; n < pipe.size(); ++n) {
            both.push_back(other[n]);
            both.push_back(pipe[n]);
        }
        const auto outcome = rankwright("listen --json " + file("two.wav", both, 48000, 2));
        ASSERT_EQ(outcome.code, 0) << outcome.error;
        EXPECT_NEAR(outcome.json()["hz"].get<double>(), 262.3, 0.01);
        EXPECT_FALSE(outcome.json()["may_be_hum"].get<bool>());
    }
}

// Mains hum stands at 50 or 60 Hz and, after a rectifier, at their octave (common practice, no
// source), and never begins nor ends; it is no reading, but a pipe that stands just there is read
// when it is loud and does begin, or named.
TEST_F(Commands, ListenTakesHumForNoPipe) {
    for (const double mains : {50.0, 60.0, 100.0}) {
        const auto of_loudness = [&](double amplitude) {
            return file("hum.wav", render(sawtooth_like(mains, 48000, 2.0, 6, amplitude, random)),
                        48000);
        };
        const auto only_hum = rankwright("listen --json " + of_loudness(0.005));
        EXPECT_EQ(only_hum.code, 1);
        EXPECT_TRUE(only_hum.json()["hz"].is_null());
        EXPECT_TRUE(only_hum.json()["may_be_hum"].get<bool>());
        EXPECT_NE(only_hum.error.find("mains hum"), std::string::npos) << only_hum.error;
        EXPECT_NE(only_hum.error.find("--near"), std::string::npos) << only_hum.error;

        const auto named =
            rankwright("listen --json --near " + std::to_string(mains) + " " + of_loudness(0.005));
        ASSERT_EQ(named.code, 0) << named.error;
        EXPECT_NEAR(named.json()["hz"].get<double>(), mains, 0.01);

        const auto loud = rankwright("listen --json " + of_loudness(0.3));
        ASSERT_EQ(loud.code, 0) << loud.error;
        EXPECT_NEAR(loud.json()["hz"].get<double>(), mains, 0.01);
        EXPECT_TRUE(loud.json()["may_be_hum"].get<bool>());

        auto long_sound = render(sawtooth_like(mains, 48000, 4.0, 6, 0.3, random));
        const auto loud_hum = rankwright("listen --json " + file("hum.wav", long_sound, 48000));
        EXPECT_EQ(loud_hum.code, 1);
        EXPECT_TRUE(loud_hum.json()["hz"].is_null());
        std::fill_n(long_sound.begin(), 24000, 0.0F);
        const auto begins = rankwright("listen --json " + file("pipe.wav", long_sound, 48000));
        ASSERT_EQ(begins.code, 0) << begins.error;
        EXPECT_NEAR(begins.json()["hz"].get<double>(), mains, 0.01);
    }
}

TEST_F(Commands, ListenHearsAPipeUnderLouderHum) {
    auto sound = tone(262.3, 2.0, 48000);
    const double power = testing::power(sawtooth_like(262.3, 48000.0, 2.0, 6, 0.2, random));
    auto hum_tone = sawtooth_like(50.0, 48000.0, 2.0, 3, 1.0, random);
    const double louder = std::sqrt(10.0 * power / testing::power(hum_tone));
    const auto hum = render(hum_tone);
    for (std::size_t n = 0; n < sound.size(); ++n)
        sound[n] = 0.05F * (sound[n] + static_cast<float>(louder) * hum[n]);
    const auto outcome = rankwright("listen --json " + file("under.wav", sound, 48000));
    ASSERT_EQ(outcome.code, 0) << outcome.error;
    EXPECT_NEAR(outcome.json()["hz"].get<double>(), 262.3, 0.01);
}

// A quiet sine in 8-bit steps stays on its highest step for several samples, unclipped.
TEST_F(Commands, ListenTakesCoarseStepsForNoOverload) {
    auto sound = tone(110.0, 2.0, 48000);
    for (float& x : sound)
        x = std::round(x * 128.0F) / 128.0F;
    const auto coarse = rankwright("listen --json " + file("coarse.wav", sound, 48000));
    ASSERT_EQ(coarse.code, 0) << coarse.error;
    EXPECT_EQ(coarse.json()["clipped"].get<double>(), 0.0);
    for (float& x : sound)
        x = std::clamp(x, -0.2F, 0.2F);
    EXPECT_GT(rankwright("listen --json " + file("cut.wav", sound, 48000)).json()["clipped"], 0.01);
}

TEST_F(Commands, ListenSaysThatAnotherPipeSoundsWithIt) {
    const auto lower = tone(261.6, 2.0, 44100);
    struct Case {
        double interval;
        float gain;
    };
    // Tempered intervals. Of two as loud as each other neither may be named by a fundamental that
    // both seem to share.
    for (const auto& [interval, gain] :
         {Case{1.2497, 0.08F}, Case{1.3348, 0.08F}, Case{1.4983, 0.08F}, Case{1.6818, 0.08F},
          Case{1.3348, 0.15F}, Case{1.4983, 0.15F}, Case{1.2497, 1.0F}, Case{1.3348, 1.0F}}) {
        const auto upper = tone(261.6 * interval, 2.0, 44100);
        std::vector<float> both(lower);
        for (std::size_t i = 0; i < both.size(); ++i)
            both[i] = 0.5F * (both[i] + gain * upper[i]);
        const std::string path = file("two.wav", both, 44100);
        const Outcome outcome = rankwright("listen --json " + path);
        ASSERT_EQ(outcome.code, 0) << outcome.error;
        EXPECT_NEAR(outcome.json()["hz"].get<double>(), 261.6, 0.05) << interval << ' ' << gain;
        const auto other = outcome.json()["other_hz"];
        ASSERT_TRUE(other.is_number()) << interval << ' ' << gain;
        EXPECT_NEAR(other.get<double>(), 261.6 * interval, 0.05);
        EXPECT_NE(outcome.error.find("another pipe sounds with it"), std::string::npos);
    }
    // One alone, with a blower under it, and with hum.
    for (const double hz : {65.4, 261.6, 1046.5}) {
        auto alone = tone(hz, 2.0, 44100);
        add_coloured(alone, 44100.0, 1e-3, 80.0, random);
        const auto hum = tone(100.0, 2.0, 44100);
        for (std::size_t i = 0; i < alone.size(); ++i)
            alone[i] += 0.1F * hum[i];
        const Outcome outcome = rankwright("listen --json " + file("one.wav", alone, 44100));
        EXPECT_TRUE(outcome.json()["other_hz"].is_null()) << hz << outcome.out;
        EXPECT_EQ(outcome.error.find("another pipe"), std::string::npos);
    }
}

struct TwoPipes : Commands {
    static constexpr double kLower = 233.1;

    /// All partials, or the odd ones alone.
    std::vector<float> pipe(double hz, bool stopped) {
        Tone tone = sawtooth_like(hz, 48000.0, 2.4, 12, 0.2, random);
        for (std::size_t k = 1; stopped && k < tone.amplitudes.size(); k += 2)
            tone.amplitudes[k] = 0.0;
        return render(tone);
    }

    /// Calls `judge(path, upper pitch, its amplitude over the lower one's)` for two tones a third
    /// to a sixth apart, nearly pure (intervals of the harmonic series), at each of several levels.
    template <typename Judge>
    void each(const Judge& judge) {
        std::normal_distribution<float> noise(0.0F, 0.0005F);
        bool stopped = false;
        for (const double pure : {6.0 / 5, 5.0 / 4, 4.0 / 3, 3.0 / 2, 8.0 / 5, 5.0 / 3})
            for (const float gain : {0.125F, 0.5F, 1.0F, 2.0F, 8.0F}) {
                stopped = !stopped;
                const double hz = kLower * pure * 1.0004;
                const auto lower = pipe(kLower, false), upper = pipe(hz, stopped);
                std::vector<float> both(lower.size());
                for (std::size_t i = 0; i < both.size(); ++i)
                    both[i] =
                        0.3F / std::max(1.0F, gain) * (lower[i] + gain * upper[i]) + noise(random);
                SCOPED_TRACE(::testing::Message() << pure << " x " << gain << ' ' << stopped);
                judge(file("two.wav", both, 48000), hz, gain);
            }
    }

    static bool about(double hz, double of) { return std::abs(1200.0 * std::log2(hz / of)) < 0.3; }
};

TEST_F(TwoPipes, NoPitchIsNamedThatNeitherHas) {
    int unread = 0;
    each([&](const std::string& path, double upper, float gain) {
        const Outcome outcome = rankwright("listen --json " + path);
        if (outcome.code != 0) {
            EXPECT_NE(outcome.error.find("give its pitch with --near"), std::string::npos);
            ++unread;
            return;
        }
        const double read = outcome.json()["hz"].get<double>();
        EXPECT_TRUE((gain >= 1.0F && about(read, upper)) || (gain <= 1.0F && about(read, kLower)))
            << read;
    });
    EXPECT_LE(unread, 2) << "of 30";
}

TEST_F(TwoPipes, EitherIsReadNearItsPitch) {
    each([&](const std::string& path, double upper, float) {
        for (const double hz : {kLower, upper}) {
            const Outcome outcome =
                rankwright("listen --json --near " + std::to_string(hz * 1.01) + ' ' + path);
            ASSERT_EQ(outcome.code, 0) << outcome.error;
            EXPECT_TRUE(about(outcome.json()["hz"].get<double>(), hz)) << outcome.out;
        }
    });
    // One alone has nothing near the others' pitches.
    const std::string alone = file("alone.wav", pipe(kLower, false), 48000);
    for (const double interval : {1.2, 1.25, 4.0 / 3, 1.5, 1.6, 5.0 / 3, 0.75}) {
        const Outcome outcome =
            rankwright("listen --near " + std::to_string(kLower * interval) + ' ' + alone);
        EXPECT_EQ(outcome.code, 1) << interval << outcome.out;
    }
}

TEST_F(Commands, ListenFindsNothingInNoiseAndSaysSo) {
    std::vector<float> hiss(96000);
    std::normal_distribution<float> noise(0.0F, 0.1F);
    for (float& x : hiss)
        x = noise(random);
    const Outcome outcome = rankwright("listen --json " + file("hiss.wav", hiss, 48000));
    EXPECT_EQ(outcome.code, 1);
    EXPECT_TRUE(outcome.json()["hz"].is_null());
    EXPECT_FALSE(outcome.error.empty());
}

TEST_F(Commands, ListenRefusesWhatIsNoRecording) {
    std::ofstream(folder / "text.wav") << "no sound in here";
    for (const std::string& name : {std::string("missing.wav"), std::string("text.wav")}) {
        const Outcome outcome = rankwright("listen '" + (folder / name).string() + "'");
        EXPECT_EQ(outcome.code, 2) << name;
        EXPECT_NE(outcome.error.find(name), std::string::npos) << outcome.error;
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

// Equal temperament at A 440: C 65.406 … Hz, the MIDI standard's formula 440 · 2^((m − 69) / 12).
// Dry air: 2.95 cents a kelvin at 20 °C (ISO 9613-1:1993, A.5).
TEST_F(Commands, TargetsFollowPitchAndTemperature) {
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
TEST_F(Commands, TargetsAgreeWithTheGoldensOfEveryInstrument) {
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
TEST_F(Commands, TargetsTakeTheHumidity) {
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
TEST_F(Commands, BearingsBeatAsPublished) {
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
TEST_F(Commands, TargetsSayWhatAnotherTemperatureDoes) {
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

TEST_F(Commands, TargetsRefusesWhatItCannotKnow) {
    EXPECT_EQ(rankwright("targets --temperature warm " + kOrgan).code, 2);
    const Outcome unknown = rankwright("targets --stop 'Great/Prinzipal 8' " + kOrgan);
    EXPECT_EQ(unknown.code, 2);
    EXPECT_NE(unknown.error.find("Principal"), std::string::npos) << "the nearest is named";
    EXPECT_EQ(rankwright("targets /nowhere/organ.toml").code, 2);
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
