// `rankwright beats` on pipes that draw each other, on whole recordings, and on one pipe alone.
#include "support/program.h"
#include "support/scene.h"
#include "support/sound_files.h"
#include "support/tones.h"

#include <cmath>
#include <random>
#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright {
namespace beats_command_test {

using testing::Outcome;

class BeatsCommand : public ::testing::Test {
  protected:
    std::vector<float> tone(double hz) {
        const auto made = testing::sawtooth_like(hz, 48000.0, 3.0, 8, 0.2, random_);
        auto samples = testing::render(made);
        testing::add_white(samples, testing::power(made) * 1e-4, random_);  // 40 dB
        return samples;
    }
    std::string file(const char* name, const std::vector<float>& samples) {
        const std::string path = (folder_ / name).string();
        EXPECT_TRUE(testing::write_sound(path, samples, 48000));
        return path;
    }
    std::mt19937_64 random_{21};
    testing::TemporaryFolder folder_;
};

// Two pipes that lock sound one frequency between those they have alone (Adler, Proc. IRE 34(6),
// 1946): here a single tone stands for both.
TEST_F(BeatsCommand, TellsWhetherTheTwoDrawEachOther) {
    const std::string reference = file("reference.wav", tone(262.0));
    const std::string pipe = file("pipe.wav", tone(263.0));
    const std::string locked = file("locked.wav", tone(262.4));
    auto both = tone(262.0);
    const auto other = tone(263.0);
    for (std::size_t i = 0; i < both.size(); ++i)
        both[i] += other[i];
    const std::string free = file("free.wav", both);
    const std::string ask = "beats --json --reference " + reference;
    const auto drawing = [&](const std::string& arguments) {
        const Outcome outcome = testing::rankwright(ask + arguments);
        EXPECT_EQ(outcome.code, 0) << outcome.error;
        return outcome.json()["drawing"];
    };
    EXPECT_EQ(drawing(" --alone " + pipe + " " + free), "none");
    EXPECT_TRUE(drawing(" " + free).is_null()) << "the pipe wasn't heard alone";
    EXPECT_EQ(drawing(" --alone " + pipe + " " + locked), "pulled together");
    const Outcome together = testing::rankwright(ask + " --alone " + pipe + " " + locked);
    EXPECT_TRUE(together.json()["beat_hz"].is_null()) << "there are no two";
}

TEST_F(BeatsCommand, HearsNoPairInASingleTone) {
    for (const double hz : {65.41, 262.31, 1046.5}) {
        const std::string path = file("one.wav", tone(hz));
        const Outcome outcome =
            testing::rankwright("beats --json --reference-hz " + std::to_string(hz) + " " + path);
        EXPECT_EQ(outcome.code, 1) << hz;
        EXPECT_TRUE(outcome.json()["beat_hz"].is_null()) << outcome.out;
        EXPECT_TRUE(outcome.json()["under_hz"].is_null()) << outcome.out;
        EXPECT_NE(outcome.error.find("one tone only"), std::string::npos) << outcome.error;
    }
}

// Both find their pitch within a quarter second from 30 cents below, and die away in the room.
TEST_F(BeatsCommand, HearsAWholeRecordingWhereBothStand) {
    const auto pipe = [](double hz, std::uint64_t seed) {
        test::Tone tone{.hz = hz, .from_s = 1.0, .to_s = 4.0, .decay_s = 1.5, .phase_seed = seed};
        tone.cents = [](double t) { return -30.0 * std::exp(-(t - 1.0) / 0.08); };
        return tone;
    };
    const auto sound = [](test::Scene scene) { return scene.add_white(0.1, 45.0).floats(); };
    const std::string reference =
        file("reference.wav", sound(std::move(test::Scene(48000.0, 6.0, 5).add(pipe(262.0, 3)))));
    const std::string both = file(
        "both.wav",
        sound(std::move(test::Scene(48000.0, 6.0, 6).add(pipe(262.0, 3)).add(pipe(262.6, 4)))));
    for (const std::string& known :
         {std::string("--reference-hz 262.0"), "--reference " + reference}) {
        const Outcome outcome = testing::rankwright("beats --json " + known + " " + both);
        ASSERT_EQ(outcome.code, 0) << outcome.error;
        const auto json = outcome.json();
        EXPECT_NEAR(json["beat_hz"].get<double>(), 0.6, 0.003) << known;
        EXPECT_TRUE(json["under_hz"].is_null());
        EXPECT_FALSE(json["perhaps_one"].get<bool>());
        EXPECT_GT(json["from_s"].get<double>(), 1.2);
        EXPECT_LE(json["to_s"].get<double>(), 4.0);
    }
}

// Of an octave the reference's odd partials are its own: they stand elsewhere than the number says.
TEST_F(BeatsCommand, SaysThatTheReferenceStandsElsewhereThanItsNumber) {
    auto both = tone(262.31);
    const auto octave = tone(525.12);
    for (std::size_t i = 0; i < both.size(); ++i)
        both[i] += octave[i];
    const std::string ask = "beats --interval 2:1 " + file("octave.wav", both) + " --reference-hz ";
    const Outcome wrong = testing::rankwright(ask + "261.00");
    ASSERT_EQ(wrong.code, 0) << wrong.error;
    EXPECT_NE(wrong.out.find("the reference stands at 262.310 Hz, not at the 261.000 given"),
              std::string::npos)
        << wrong.out;
    const auto json = testing::rankwright(ask + "261.00 --json").json();
    EXPECT_TRUE(json["reference_contradicted"].get<bool>());
    EXPECT_NEAR(json["reference_hz"].get<double>(), 262.31, 0.005);
    EXPECT_NEAR(json["beat_hz"].get<double>(), 0.5, 0.01);
    EXPECT_EQ(testing::rankwright(ask + "262.31").out.find("not at the"), std::string::npos);
    const auto right = testing::rankwright(ask + "262.31 --json").json();
    EXPECT_FALSE(right["reference_contradicted"].get<bool>());
}

TEST_F(BeatsCommand, RefusesAPipeAloneThatItCannotRead) {
    const std::string path = file("one.wav", tone(262.31));
    EXPECT_EQ(testing::rankwright("beats --reference-hz 262.31 --alone /no.wav " + path).code, 2);
}

}  // namespace beats_command_test
}  // namespace rankwright
