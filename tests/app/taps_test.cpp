// What the window says of how far to move a device whose millimetres nobody knows: pipes that
// sound, a hand that taps them, the ear, the job and the words on the screen.
#include "app/snapshot.h"
#include "simulator/chamber.h"

#include <cmath>
#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::app {
namespace taps_test {

organ::Instrument one_stop(organ::PipeKind kind, organ::TuningDevice device) {
    organ::Stop stop;
    stop.id = "stop";
    stop.name = "Stop 8′";
    organ::PipeMake make;
    make.kind = kind;
    make.device = device;
    stop.makes = {{1, make}};
    organ::Division division;
    division.id = "great";
    division.name = "Great";
    division.stops = {stop};
    organ::Instrument instrument;
    instrument.divisions = {division};
    return instrument;
}

/// A key held in a simulated chamber, and what the window shows of it.
class AtThePipe {
  public:
    AtThePipe(organ::PipeKind kind, organ::TuningDevice device, std::uint64_t seed, int key)
        : instrument_(one_stop(kind, device)),
          chamber_(instrument_, {.seed = seed, .mistuning = Cents{14.0}, .handling = 1.0}),
          run_(instrument_, organ::find_stop(instrument_, "Stop 8").value(), day()),
          ear_({SampleRate{48000.0}, 1}) {
        run_.go_to(key);
        job_.expect(run_.expectation());
        ear_.expect(job_.expectation()->target);
        chamber_.draw_stop("great", "stop", true);
        chamber_.key_down("great", key);
    }

    void listen(double seconds) {
        std::vector<float> block(480);
        for (int i = 0; i < std::lround(seconds * 100.0); ++i) {
            chamber_.render(block);
            ear_.process(FrameIndex{frames_}, block);
            frames_ += 480;
            job_.hear(ear_.hearing());
        }
    }
    void tap(double up_mm) { chamber_.move_device(run_.pipe().id, Millimetres{up_mm}); }
    overlay::Snapshot shown() { return make_snapshot({run_, job_, &ear_, {}, true}); }
    /// From its target, with no hand near.
    double truly_off() const {
        return interval(job_.expectation()->target, chamber_.true_pitch(run_.pipe().id)).value();
    }

  private:
    static organ::Day day() {
        organ::Day day;
        day.pitch = Hertz{440.0};
        return day;
    }
    organ::Instrument instrument_;
    simulator::Chamber chamber_;
    visit::Run run_;
    tuning::SinglePipe job_;
    listening::PipeListener ear_;
    std::int64_t frames_ = 0;
};

/// "about three taps like the last" → 3; 0 for words without a count.
int taps_in(const std::string& words) {
    const char* const counts[] = {"one tap", "two taps", "three taps", "four taps", "five taps"};
    for (int i = 0; i < 5; ++i)
        if (words.find(counts[i]) != std::string::npos) return i + 1;
    const auto digit = words.find_first_of("0123456789");
    return digit == std::string::npos ? 0 : std::stoi(words.substr(digit));
}

// A hand warms a small pipe by up to half a cent, and its mean wanders by a tenth: so much the ear
// may take the tap, and what is left, for more or less than they are.
constexpr double kHand = 0.6;
constexpr double kPlainTap = 2.5;

struct Device {
    const char* name;
    organ::PipeKind kind;
    organ::TuningDevice device;
    double tap_mm;  ///< up or out
};

class LearnedTaps : public ::testing::TestWithParam<Device> {};

// The chamber knows the pipe's true pitch: what is left of its error by what the tap did is how
// many more like it are needed. The window is told nothing but the sound.
TEST_P(LearnedTaps, TheWindowSaysHowManyMoreLikeTheLast) {
    int said = 0;
    for (std::uint64_t seed = 1; seed <= 20 && said < 4; ++seed) {
        AtThePipe pipe(GetParam().kind, GetParam().device, seed, 37);
        pipe.listen(4.0);
        const double before = pipe.truly_off();
        if (std::abs(before) < 5.0) continue;
        SCOPED_TRACE(seed);
        EXPECT_EQ(pipe.shown().amount, "") << "nothing was moved yet, and no scale is known";
        const bool up_sharpens = GetParam().device == organ::TuningDevice::cone;
        const double up = GetParam().tap_mm * ((before < 0.0) == up_sharpens ? 1.0 : -1.0);
        pipe.tap(up);
        pipe.listen(5.0);
        const double after = pipe.truly_off();
        const double change = std::abs(after - before);
        if (change < kPlainTap || std::abs(after) < 1.5 * change) continue;
        const std::string words = pipe.shown().amount;
        const int taps = taps_in(words);
        EXPECT_GT(taps, (std::abs(after) - kHand) / (change + kHand) - 0.5) << words;
        EXPECT_LT(taps, (std::abs(after) + kHand) / (change - kHand) + 0.5) << words;
        ASSERT_GT(taps, 0) << words;
        for (int i = 0; i < taps; ++i) {
            pipe.tap(up);
            pipe.listen(0.3);
        }
        pipe.listen(4.0);
        EXPECT_LT(std::abs(pipe.truly_off()), 0.3 * std::abs(after) + 0.5 * change) << words;
        ++said;
    }
    EXPECT_GE(said, 3) << "too few pipes were far enough off to tell";
}

INSTANTIATE_TEST_SUITE_P(
    Devices, LearnedTaps,
    ::testing::Values(Device{"Cone", organ::PipeKind::open, organ::TuningDevice::cone, 2.5},
                      Device{"Scroll", organ::PipeKind::string, organ::TuningDevice::scroll, 1.5},
                      Device{"ReedWire", organ::PipeKind::reed_full, organ::TuningDevice::reed_wire,
                             0.03}),
    [](const auto& device) { return std::string(device.param.name); });

TEST(LearnedTaps, ASleeveIsSaidInMillimetresWhereTheyAreHalfAMillimetreOrMore) {
    for (std::uint64_t seed = 1; seed <= 12; ++seed) {
        AtThePipe pipe(organ::PipeKind::open, organ::TuningDevice::sleeve, seed, 13);
        pipe.listen(4.0);
        if (std::abs(pipe.truly_off()) < 5.0) continue;
        EXPECT_NE(pipe.shown().amount.find("mm"), std::string::npos) << seed;
        return;
    }
    FAIL() << "no pipe was far enough off";
}

}  // namespace taps_test
}  // namespace rankwright::app
