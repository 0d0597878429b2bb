// What hearing a mixture's key whole costs live, as a share of one core, processor time. Run by
// hand: mixture_bench. The ear is asked as the screen asks it: 2.4 s of sound, at first with
// nothing known, then with the places found before, and each reading is followed by a rest that
// keeps the ear to its share.
#include "listening/mixture/mixture.h"
#include "support/scene.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <ctime>
#include <optional>
#include <vector>

namespace {

using namespace rankwright;
using namespace rankwright::listening;
using test::Scene;
using test::Tone;

constexpr double kRate = 48000.0;
constexpr double kSpan_s = 2.4;
constexpr double kSeconds = 24.0;
constexpr double kSoonest_s = 1.0;    // from one answer to the next question
constexpr double kMoves_cents = 0.4;  // a second: one pipe is being tuned

Scene scene_of(const MixtureRequest& request, bool moving) {
    Scene scene(kRate, kSeconds, 7);
    for (std::size_t j = 0; j < request.pipes.size(); ++j) {
        const double off = 5.0 * std::sin(2.0 + 3.7 * static_cast<double>(j));
        const auto seed = 10 + static_cast<unsigned>(j);
        const auto wander = test::wander(0.2, seed);
        const bool moves = moving && j == 1;
        scene.add(Tone{
            .hz = request.unison.value() * request.pipes[j].value(),
            .cents = [=](double t) { return off + wander(t) + (moves ? kMoves_cents * t : 0.0); },
            .phase_seed = seed});
    }
    scene.add_white(0.1, 35.0);
    return scene;
}

double processor_s() { return static_cast<double>(std::clock()) / CLOCKS_PER_SEC; }

/// Reads again and again for the length of the sound.
void measure(const char* name, MixtureRequest request, bool moving) {
    const std::vector<float> samples = scene_of(request, moving).floats();
    const auto span = static_cast<std::size_t>(kSpan_s * kRate);
    double first_s = 0.0, later_s = 0.0, dearest_s = 0.0;
    int later = 0, sounding = 0;
    for (double at = 0.0; at + kSpan_s < kSeconds;) {
        const double began = processor_s();
        const auto reading =
            measure_mixture({&samples[static_cast<std::size_t>(at * kRate)], span}, request);
        const double spent = processor_s() - began;
        if (request.before.empty()) {
            first_s = spent;
        } else {
            later_s += spent;
            dearest_s = std::max(dearest_s, spent);
            ++later;
        }
        request.before.resize(request.pipes.size());
        for (std::size_t j = 0; reading && j < request.pipes.size(); ++j) {
            const MixturePipeReading& pipe = reading->pipes[j];
            if (pipe.presence != Presence::cannot_tell) request.before[j] = pipe.cents;
            sounding += pipe.presence == Presence::sounding ? 1 : 0;
        }
        at += spent + kSoonest_s;
    }
    const double each = later_s / std::max(later, 1);
    std::printf(
        "  %-28s first %5.2f s, later %5.2f s, dearest %5.2f s; %.1f pipes found a reading; "
        "asked anew after a second %4.1f %% of a core, to stay at 15 %% every %4.1f s\n",
        name, first_s, each, dearest_s, static_cast<double>(sounding) / (later + 1),
        100.0 * each / (each + kSoonest_s), std::max(each / 0.15, each + kSoonest_s));
}

}  // namespace

int main() {
    const MixtureRequest four{.rate = SampleRate{kRate},
                              .unison = Hertz{130.8},
                              .pipes = {{2, 1}, {3, 1}, {4, 1}, {6, 1}},
                              .reference = {}};
    const MixtureRequest six{.rate = SampleRate{kRate},
                             .unison = Hertz{130.8},
                             .pipes = {{2, 1}, {3, 1}, {4, 1}, {6, 1}, {8, 1}, {12, 1}},
                             .reference = {}};
    std::printf("cost of hearing a mixture's key live, 48 kHz, one channel, processor time\n");
    measure("four pipes at rest", four, false);
    measure("four pipes, one moving", four, true);
    measure("six pipes at rest", six, false);
    measure("six pipes, one moving", six, true);
    return 0;
}
