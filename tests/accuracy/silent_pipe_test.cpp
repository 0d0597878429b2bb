// A pipe that doesn't speak while its wind rushes: the ear doesn't take the hiss, which the body
// colours at its partials, for a tone (common practice, no source). Sound from the simulator.
#include "listening/pipe_listener.h"
#include "organ/target.h"
#include "simulator/chamber.h"
#include "storage/instrument_file.h"

#include <cstdint>
#include <cstdio>
#include <optional>
#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace silent_pipe_test {

struct Heard {
    int looks = 0, read = 0;
    double share() const { return static_cast<double>(read) / looks; }
    void add(const Heard& other) {
        looks += other.looks;
        read += other.read;
    }
};

const organ::Instrument& emberlow() {
    static const organ::Instrument instrument =
        storage::load_instrument(RANKWRIGHT_INSTRUMENTS "/emberlow.toml").value();
    return instrument;
}

/// The neighbour key sounds first, as in any visit; then the key whose pipe is muted but for
/// `leak`, from half a second after its onset on.
Heard hear_muted(const std::string& stop, int key, std::uint64_t seed,
                 std::optional<Decibels> leak) {
    constexpr SampleRate kRate{24000.0};
    constexpr std::size_t kBlock = 480;
    const auto pipes = organ::pipes(organ::stop_by_id(emberlow(), "great", stop));
    const organ::Pipe& pipe = pipes.at(static_cast<std::size_t>(key - 1));
    simulator::Chamber::Parameters parameters;
    parameters.seed = seed;
    parameters.rate = kRate;
    parameters.temperature = emberlow().at;
    simulator::Chamber chamber(emberlow(), parameters);
    chamber.put_mute_in(pipe.id, leak);
    chamber.draw_stop("great", stop, true);
    PipeListener ear({.rate = kRate, .channels = 1});
    FrameIndex at;
    Heard heard;
    const auto sound = [&](int sounding, Seconds for_time, Seconds from) {
        ear.expect(organ::target(emberlow(), pipes.at(static_cast<std::size_t>(sounding - 1)), {}));
        chamber.key_down("great", sounding);
        std::vector<float> block(kBlock);
        for (Seconds t{0.0}; t < for_time; t += duration(kBlock, kRate)) {
            chamber.render(block);
            ear.process(at, block);
            at = at + static_cast<std::int64_t>(kBlock);
            if (t < from) continue;
            ++heard.looks;
            heard.read += ear.hearing().reading ? 1 : 0;
        }
        chamber.key_up("great", sounding);
    };
    sound(key + 1, Seconds{2.0}, Seconds{2.0});
    sound(key, Seconds{5.0}, Seconds{0.5});
    return heard;
}

TEST(SilentPipe, ItsWindIsNoToneAndASoftPipeIsOne) {
    for (const char* stop : {"trumpet-8", "principal-8"}) {
        Heard silent, soft;
        for (const int key : {3, 8, 20, 32, 44})
            for (const std::uint64_t seed : {31U, 32U}) {
                silent.add(hear_muted(stop, key, seed, {}));
                soft.add(hear_muted(stop, key, seed, Decibels{-12.0}));
            }
        std::printf("%s: read %.3f of the time while silent, %.3f when 12 dB softer than usual\n",
                    stop, silent.share(), soft.share());
        EXPECT_LE(silent.share(), 0.1);
        EXPECT_GE(soft.share(), 0.9);
    }
}

}  // namespace silent_pipe_test
}  // namespace rankwright::listening
