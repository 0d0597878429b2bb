// A pipe that sounds on while its level in the room changes: a standing wave nearly silences it
// when a tap moves its pitch, and lets it come back slowly (common practice, no source).
#include "support/listen_through.h"
#include "support/scene.h"

#include <algorithm>
#include <cmath>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace pipe_comes_back_test {

constexpr double kTapped_s = 3.0, kFaded_s = 3.15;

struct Fade {
    double drop_db, climb_db;  // a second
    double jump_cents;
};

/// Seconds for which nothing was said to sound since the tap, though the pipe did.
double deaf_s(double hz, const Fade& fade) {
    const auto level_db = [=](double t) {
        if (t < kTapped_s) return 0.0;
        if (t < kFaded_s) return -fade.drop_db * (t - kTapped_s) / (kFaded_s - kTapped_s);
        return std::min(0.0, -fade.drop_db + fade.climb_db * (t - kFaded_s));
    };
    test::Scene scene(48000.0, 11.0, 7);
    scene.add({.hz = hz,
               .timbre = {1.0, 0.1},
               .from_s = 0.4,
               .cents = [=](double t) { return t < kTapped_s ? 0.0 : fade.jump_cents; },
               .gain = [=](double t) { return std::pow(10.0, level_db(t) / 20.0); }});
    scene.add_white(0.1, 25.0);
    double deaf = 0.0, last = 0.0;
    for (const test::Moment& m : test::listen_through(scene, {.expected = Hertz{hz}})) {
        if (m.t > kTapped_s && m.hearing.sounding == Sounding::silence) deaf += m.t - last;
        last = m.t;
    }
    return deaf;
}

TEST(PipeComesBack, AndIsNotTakenForWhatWasAlwaysThere) {
    for (const double hz : {1174.0, 2350.0, 4698.0})
        for (const Fade& fade : {Fade{10.0, 5.0, 0.0}, Fade{14.0, 2.0, 1.5}, Fade{14.0, 5.0, 1.5},
                                 Fade{20.0, 2.0, 0.0}})
            EXPECT_LT(deaf_s(hz, fade), 3.0)
                << hz << " Hz " << fade.drop_db << " dB " << fade.climb_db << " dB a second";
}

}  // namespace pipe_comes_back_test
}  // namespace rankwright::listening
