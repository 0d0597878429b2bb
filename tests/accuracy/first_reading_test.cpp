// The first readings of simulated pipes, whose speech glides, breathes and brings one partial after
// the other, in a room: against the mean pitch of the newest 10 ms (bass: one period) as it truly
// sounded, which the simulator tells.
#include "listening/pipe_listener.h"
#include "simulator/chamber.h"
#include "simulator/one_of_each.h"
#include "support/coverage.h"
#include "support/tones.h"

#include <deque>
#include <optional>

#include <gtest/gtest.h>

namespace rankwright::testing {
namespace first_reading_test {

constexpr SampleRate kRate{48000.0};
constexpr double kKeyDown_s = 0.8;

struct Case {
    const char* stop;
    int feet;
    int key;
    std::uint64_t seed;
};

struct First {
    double error_cents;
    double sd_cents;
    double after_s;  ///< the key went down
};

/// The first reading within two seconds of the key; one that comes before the key fails the test.
std::optional<First> first_reading(const Case& c) {
    organ::Instrument organ = simulator::one_of_each();
    for (organ::Stop& stop : organ.divisions.front().stops)
        stop.footage = {c.feet, 1};
    simulator::Chamber::Parameters parameters;
    parameters.seed = c.seed;
    parameters.mains = Hertz{c.seed % 2 == 0 ? 0.0 : 50.0};
    simulator::Chamber chamber(organ, parameters);
    chamber.draw_stop("great", c.stop, true);
    const PipeId pipe{"great", c.stop, 1, c.key};
    const Hertz pitch = chamber.true_pitch(pipe);
    listening::PipeListener listener({.rate = kRate, .channels = 1});
    listener.expect(transpose(pitch, Cents{4.0}));

    constexpr std::size_t kPiece = 96;  // 2 ms
    const auto newest =
        static_cast<std::size_t>(std::max(0.010, 1.0 / pitch.value()) * 500.0 + 0.5);
    std::vector<float> sound(kPiece);
    std::deque<double> cycles;
    bool down = false;
    for (std::int64_t frame = 0; frame < 134400; frame += kPiece) {
        const double t = static_cast<double>(frame) / kRate.value();
        if (!down && t >= kKeyDown_s) {
            chamber.key_down("great", c.key);
            down = true;
        }
        chamber.render(sound);
        listener.process({frame}, sound);
        if (const auto turned = chamber.cycles(pipe)) cycles.push_back(*turned);
        if (cycles.size() > newest + 1) cycles.pop_front();
        const auto& reading = listener.hearing().reading;
        if (!reading) continue;
        EXPECT_TRUE(down) << reading->pitch.value() << " Hz before " << c.stop << " spoke";
        if (cycles.size() <= newest) return std::nullopt;
        const double truth =
            (cycles.back() - cycles.front()) / (0.002 * static_cast<double>(newest));
        return First{cents(truth, reading->pitch.value()), reading->cents_sd().value(),
                     t - kKeyDown_s};
    }
    return std::nullopt;
}

// Design: no figure that isn't yet true. Three standard errors of a share of 90 cases are allowed
// for below 68 and 95 %; more than that above 68 % would be an uncertainty too wide.
TEST(FirstReading, IsTrueWhileThePipeStillSettles) {
    const char* const stops[] = {"open",   "tapered",   "stopped",   "chimney",   "harmonic",
                                 "string", "reed-full", "reed-half", "reed-short"};
    constexpr int kFeet[] = {16, 8, 4, 2};
    Errors errors;
    int cases = 0;
    std::vector<double> delays;
    for (int i = 0; i < 90; ++i) {
        const Case c{stops[i % 9], kFeet[(i / 9) % 4], 1 + (i * 17) % 61,
                     static_cast<std::uint64_t>(4000 + i)};
        ++cases;
        const auto first = first_reading(c);
        if (!first) continue;
        errors.add(first->error_cents, first->sd_cents);
        delays.push_back(first->after_s);
        EXPECT_LT(std::abs(first->error_cents), 25.0)
            << c.stop << ' ' << c.feet << " key " << c.key;
    }
    std::sort(delays.begin(), delays.end());
    std::printf(
        "%zu of %d read; within 1 sd %.2f, 2 sd %.2f, 3 sd %.2f; worst %.2f cents; median "
        "%.0f ms after the key\n",
        errors.count(), cases, errors.within(1.0), errors.within(2.0), errors.within(3.0),
        errors.worst(), 1000.0 * delays[delays.size() / 2]);
    EXPECT_GE(static_cast<double>(errors.count()), 0.98 * cases);
    EXPECT_GE(errors.within(1.0), 0.53);
    EXPECT_LE(errors.within(1.0), 0.83);
    EXPECT_GE(errors.within(2.0), 0.88);
}

}  // namespace first_reading_test
}  // namespace rankwright::testing
