// Notes that the room or the blower makes hard to name. Sound from the simulator, which knows each
// pipe's pitch.
#include "listening/pipe_listener.h"
#include "organ/target.h"
#include "simulator/chamber.h"
#include "storage/instrument_file.h"

#include <cstdint>
#include <cstdio>
#include <functional>
#include <optional>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace note_in_the_chamber_test {

constexpr SampleRate kRate{24000.0};

const organ::Instrument& emberlow() {
    static const organ::Instrument instrument =
        storage::load_instrument(RANKWRIGHT_INSTRUMENTS "/emberlow.toml").value();
    return instrument;
}

/// A stop of the great, drawn, and the ear in the chamber.
class Ear {
  public:
    Ear(const char* stop, std::uint64_t seed)
        : pipes_(organ::pipes(organ::stop_by_id(emberlow(), "great", stop))),
          chamber_(emberlow(), {.rate = kRate, .seed = seed, .temperature = emberlow().at}) {
        chamber_.draw_stop("great", stop, true);
    }
    void wait(
        Seconds time, const std::function<void(Seconds)>& look = [](Seconds) {}) {
        std::vector<float> block(480);
        const auto frames = static_cast<std::int64_t>(block.size());
        for (Seconds t{0.0}; t < time; t += duration(frames, kRate)) {
            chamber_.render(block);
            ear_.process(at_, block);
            at_ = at_ + frames;
            look(t);
        }
    }
    void expect(const organ::Pipe& pipe) { ear_.expect(organ::target(emberlow(), pipe, {})); }
    const std::optional<PitchReading>& reading() const { return ear_.hearing().reading; }
    const std::vector<organ::Pipe>& pipes() const { return pipes_; }
    simulator::Chamber& chamber() { return chamber_; }

  private:
    std::vector<organ::Pipe> pipes_;
    simulator::Chamber chamber_;
    PipeListener ear_{{.rate = kRate, .channels = 1}};
    FrameIndex at_;
};

struct Heard {
    int looks = 0, read = 0, other = 0;
};

/// Each key is held, and its pipe moved by a cent or two up, then by four down, as in tuning.
void hear_moved(const char* stop, std::uint64_t seed, Heard& heard) {
    constexpr Cents kNear{8.0};  // the hand's warmth and the room's own movement are far less
    Ear ear(stop, seed);
    ear.wait(Seconds{1.0});
    for (const organ::Pipe& pipe : ear.pipes()) {
        if (pipe.key < 40 || pipe.key % 3 != 0) continue;
        ear.expect(pipe);
        ear.chamber().key_down("great", pipe.key);
        ear.wait(Seconds{1.5});
        for (const double mm : {0.05, -0.1}) {
            ear.chamber().move_device(pipe.id, Millimetres{mm});
            ear.wait(Seconds{4.0}, [&](Seconds t) {
                if (t < Seconds{1.5}) return;
                ++heard.looks;
                if (!ear.reading()) return;
                ++heard.read;
                if (apart(ear.reading()->pitch, ear.chamber().true_pitch(pipe.id)) > kNear)
                    ++heard.other;
            });
        }
        ear.chamber().key_up("great", pipe.key);
        ear.wait(Seconds{0.5});
    }
}

// In a node of the room the fundamental is hardly heard, and a treble has little else. Seeds used
// while developing: of 99 one pipe was heard as its octave after the second movement, though it was
// awaited (0.018 of all looks).
TEST(NoteInTheChamber, OfATrebleMovedIntoANodeIsItsOwn) {
    Heard heard;
    for (const std::uint64_t seed : {93U, 99U})
        for (const char* stop : {"octave-4", "fifteenth-2"})
            hear_moved(stop, seed, heard);
    std::printf("%d of %d looks read, %d of them as another note\n", heard.read, heard.looks,
                heard.other);
    EXPECT_LE(heard.other, heard.looks / 1000);
    EXPECT_GE(heard.read, 0.9 * heard.looks);
}

// This one happens to stand at the 29th multiple of a line of the blower's.
TEST(NoteInTheChamber, OfAPipeAtAHighMultipleOfTheBlowersLineIsItsOwn) {
    constexpr std::size_t kKey = 30;
    Ear ear("octave-4", 99);
    ear.wait(Seconds{1.0});
    ear.chamber().key_down("great", static_cast<int>(kKey));
    ear.wait(Seconds{2.5});
    ASSERT_TRUE(ear.reading());
    EXPECT_LT(apart(ear.reading()->pitch, ear.chamber().true_pitch(ear.pipes()[kKey - 1].id)),
              Cents{5.0});
}

}  // namespace note_in_the_chamber_test
}  // namespace rankwright::listening
