// `rankwright listen` as a user runs it on small recordings.
#include "support/command_sounds.h"
#include "support/program.h"

#include <cmath>
#include <fstream>
#include <random>
#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::testing {
namespace listen_command_test {

using ListenCommand = CommandSounds;

// The tone's pitch is exact by construction; f0 from the definition of the signal.
TEST_F(ListenCommand, ListenSaysThePitchOfARecording) {
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

TEST_F(ListenCommand, ListenTakesASpanAndAChannel) {
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

TEST_F(ListenCommand, ListenTakesTheChannelThatHearsThePipe) {
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
TEST_F(ListenCommand, ListenTakesHumForNoPipe) {
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

TEST_F(ListenCommand, ListenHearsAPipeUnderLouderHum) {
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
TEST_F(ListenCommand, ListenTakesCoarseStepsForNoOverload) {
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

TEST_F(ListenCommand, ListenSaysThatAnotherPipeSoundsWithIt) {
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

struct TwoPipes : ListenCommand {
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

TEST_F(ListenCommand, ListenFindsNothingInNoiseAndSaysSo) {
    std::vector<float> hiss(96000);
    std::normal_distribution<float> noise(0.0F, 0.1F);
    for (float& x : hiss)
        x = noise(random);
    const Outcome outcome = rankwright("listen --json " + file("hiss.wav", hiss, 48000));
    EXPECT_EQ(outcome.code, 1);
    EXPECT_TRUE(outcome.json()["hz"].is_null());
    EXPECT_FALSE(outcome.error.empty());
}

TEST_F(ListenCommand, ListenRefusesWhatIsNoRecording) {
    std::ofstream(folder / "text.wav") << "no sound in here";
    for (const std::string& name : {std::string("missing.wav"), std::string("text.wav")}) {
        const Outcome outcome = rankwright("listen '" + (folder / name).string() + "'");
        EXPECT_EQ(outcome.code, 2) << name;
        EXPECT_NE(outcome.error.find(name), std::string::npos) << outcome.error;
    }
}

}  // namespace listen_command_test
}  // namespace rankwright::testing
