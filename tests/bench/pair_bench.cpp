// What live listening to a reference and a pipe costs, as a share of one core, processor time. Run
// by hand: pair_bench. Sound is made as in the tests of the live ear.
#include "listening/pair/listener.h"
#include "support/scene.h"

#include <algorithm>
#include <cstdio>
#include <ctime>
#include <vector>

namespace {

using namespace rankwright;
using namespace rankwright::listening;
using test::Scene;
using test::Tone;

constexpr double kSeconds = 10.0;

enum class Work { alone, joined, in_tune, moved };

Scene scene_at(double hz, Work work) {
    Scene scene(48000.0, kSeconds, 3);
    scene.add(Tone{.hz = hz, .from_s = 0.3, .cents = test::wander(0.2, 3)});
    const double beat = work == Work::in_tune ? 0.01 : 0.9;
    if (work != Work::alone)
        scene.add(Tone{
            .hz = hz + beat,
            .from_s = 2.3,
            .cents =
                [=](double t) { return work == Work::moved && t > 4.0 ? 1.5 * (t - 4.0) : 0.0; },
            .phase_seed = 8});
    scene.add_white(0.1, 35.0);
    return scene;
}

/// Mean over the last six seconds, and the dearest of those seconds, per cent of a core.
void measure(const char* name, double hz, Work work) {
    const std::vector<float> samples = scene_at(hz, work).floats();
    PairListener listener({.rate = SampleRate{48000.0}, .channels = 1});
    listener.expect({Hertz{hz * 1.0003}, Hertz{hz * 0.002}, 1, 1});
    double total = 0.0, dearest = 0.0;
    for (std::size_t second = 0; second < static_cast<std::size_t>(kSeconds); ++second) {
        const std::clock_t began = std::clock();
        for (std::size_t i = 48000 * second; i < 48000 * (second + 1); i += 480)
            listener.process({static_cast<std::int64_t>(i)}, {&samples[i], 480});
        const double spent = static_cast<double>(std::clock() - began) / CLOCKS_PER_SEC;
        if (second < 4) continue;
        total += spent;
        dearest = std::max(dearest, spent);
    }
    std::printf("  %7.1f Hz %-10s %5.2f, dearest second %5.2f\n", hz, name,
                100.0 * total / (kSeconds - 4.0), 100.0 * dearest);
}

}  // namespace

int main() {
    std::printf("cost of hearing a pair live, 48 kHz, one channel, per cent of one core\n");
    for (const double hz : {110.0, 261.6, 523.3, 1046.5}) {
        measure("alone", hz, Work::alone);
        measure("beating", hz, Work::joined);
        measure("in tune", hz, Work::in_tune);
        measure("moved", hz, Work::moved);
    }
    return 0;
}
