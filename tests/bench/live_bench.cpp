// What live listening costs, as a share of one core, and how soon the first honest reading stands.
// Run by hand: live_bench. Sound is made as in the tests of the live ear; recorded pipes as well.
#include "listening/pipe_listener.h"
#include "support/recordings.h"
#include "support/scene.h"

#include <cstdio>
#include <ctime>
#include <optional>
#include <vector>

namespace {

using namespace rankwright;
using namespace rankwright::listening;
using test::Scene;
using test::Tone;

Scene scene_at(double hz, double seconds, std::uint64_t seed) {
    Scene scene(48000.0, seconds, seed);
    scene.add(Tone{.hz = hz,
                   .timbre = test::falling_timbre(8),
                   .from_s = 0.5,
                   .attack_s = 0.05,
                   .phase_seed = seed});
    scene.add_white(0.1, 30.0);
    return scene;
}

// Processor time, which other work on the machine disturbs less than the clock on the wall.
double spent(const std::vector<float>& interleaved, std::size_t channels, double rate,
             std::optional<Hertz> awaited) {
    PipeListener listener({.rate = SampleRate{rate}, .channels = static_cast<int>(channels)});
    listener.expect(awaited);
    const std::clock_t began = std::clock();
    for (std::size_t i = 0; (i + 480) * channels <= interleaved.size(); i += 480)
        listener.process({static_cast<std::int64_t>(i)},
                         {&interleaved[i * channels], 480 * channels});
    return static_cast<double>(std::clock() - began) / CLOCKS_PER_SEC;
}

double cost(const Scene& scene, std::optional<Hertz> awaited) {
    return spent(scene.floats(), 1, scene.rate(), awaited) / scene.seconds();
}

std::vector<float> interleaved(const testing::RecordedPipe& pipe, std::size_t channels) {
    std::vector<float> samples;
    for (std::size_t i = 0; i < pipe.channels[0].size(); ++i)
        for (std::size_t c = 0; c < channels; ++c)
            samples.push_back(pipe.channels[c][i]);
    return samples;
}

void print_recorded(const char* rank, std::size_t channels) {
    double heard = 0.0;
    double processor = 0.0;
    double worst = 0.0;
    for (const testing::RecordedPipe& pipe : testing::recorded_pipes({rank})) {
        if (pipe.channels.size() < channels) continue;
        const double seconds = static_cast<double>(pipe.channels[0].size()) / pipe.rate;
        const double now =
            spent(interleaved(pipe, channels), channels, pipe.rate, Hertz{pipe.nominal_hz()});
        heard += seconds;
        processor += now;
        worst = std::max(worst, now / seconds);
    }
    std::printf("  recorded %-12s %zu channel(s) %5.2f, dearest pipe %5.2f\n", rank, channels,
                100.0 * processor / heard, 100.0 * worst);
}

// Seconds from the end of speech to the first reading of a cent or better; negative: none.
double first_reading(double hz, std::uint64_t seed, std::optional<Hertz> awaited) {
    const std::vector<float> samples = scene_at(hz, 1.6, seed).floats();
    PipeListener listener({.rate = SampleRate{48000.0}, .channels = 1});
    listener.expect(awaited);
    for (std::size_t i = 0; i + 480 <= samples.size(); i += 480) {
        listener.process({static_cast<std::int64_t>(i)}, {&samples[i], 480});
        const Hearing& hearing = listener.hearing();
        if (hearing.reading && hearing.reading->cents_sd() <= Cents{1.0})
            return static_cast<double>(hearing.now.value) / 48000.0 - 0.55;
    }
    return -1.0;
}

}  // namespace

int main() {
    std::printf("cost of live listening, 48 kHz, one channel unless said, per cent of one core\n");
    for (const double hz : {32.7, 130.8, 261.6, 1046.5, 4186.0})
        std::printf("  %7.1f Hz sounding   %5.2f\n", hz,
                    100.0 * cost(scene_at(hz, 10.0, 1), Hertz{hz}));
    Scene empty(48000.0, 10.0, 2);
    empty.add_white(0.1, 30.0).add_rumble(0.01).add_hum(50.0, 0.003);
    std::printf("  no pipe              %5.2f\n", 100.0 * cost(empty, std::nullopt));
    for (const char* rank : {"Montre8", "Trompette8"})
        for (const std::size_t channels : {1, 2})
            print_recorded(rank, channels);

    std::printf(
        "first reading of 1 cent or better after the end of speech, ms (30 dB; awaited / "
        "not awaited; worst of 8)\n");
    for (const double hz :
         {32.7, 65.4, 98.0, 130.8, 261.6, 523.3, 1046.5, 2093.0, 4186.0, 8372.0}) {
        double awaited = -1.0;
        double found = -1.0;
        for (std::uint64_t seed = 1; seed <= 8; ++seed) {
            awaited = std::max(awaited, first_reading(hz, seed, Hertz{1.002 * hz}));
            found = std::max(found, first_reading(hz, seed, std::nullopt));
        }
        std::printf("  %7.1f Hz  %5.0f  %5.0f\n", hz, 1000.0 * awaited, 1000.0 * found);
    }
    return 0;
}
