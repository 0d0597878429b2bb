// The helper at the console and the technician at the screen.
#include "one_of_each.h"
#include "organ/movement.h"
#include "organ/target.h"
#include "simulator/simulated_helper.h"
#include "simulator/simulated_technician.h"

#include <gtest/gtest.h>

namespace rankwright::simulator {
namespace people_test {

constexpr double kStep_s = 0.02;

TEST(SimulatedHelper, MovesToTheKeyCalledInHumanTime) {
    Chamber chamber(one_of_each(), still());
    SimulatedHelper helper({});
    helper.draw("great", "open", true);
    helper.call("great", 20);
    double pressed = 0.0;
    double now = 0.0;
    for (; now < 5.0; now += kStep_s) {
        helper.advance(chamber, Seconds{now});
        heard(chamber, kStep_s);
        if (helper.holds() && pressed == 0.0) pressed = now;
    }
    EXPECT_GT(pressed, 0.2);
    EXPECT_LT(pressed, 2.0);
    EXPECT_EQ(helper.holds()->key, 20);
    EXPECT_TRUE(chamber.cycles({"great", "open", 1, 20}).has_value());
    helper.call("great", 21);
    bool silent_between = false;
    for (; now < 10.0; now += kStep_s) {
        helper.advance(chamber, Seconds{now});
        heard(chamber, kStep_s);
        silent_between = silent_between || !helper.holds();
    }
    EXPECT_TRUE(silent_between);
    EXPECT_FALSE(chamber.cycles({"great", "open", 1, 20}).has_value());
    EXPECT_TRUE(chamber.cycles({"great", "open", 1, 21}).has_value());
    helper.rest();
    for (; now < 15.0; now += kStep_s) {
        helper.advance(chamber, Seconds{now});
        heard(chamber, kStep_s);
    }
    EXPECT_FALSE(helper.holds().has_value());
    EXPECT_FALSE(chamber.cycles({"great", "open", 1, 21}).has_value());
}

TEST(SimulatedHelper, AMistakenKeyIsPutRight) {
    Chamber chamber(one_of_each(), still());
    SimulatedHelper::Parameters parameters;
    parameters.mistakes = 1.0;
    SimulatedHelper helper(parameters);
    helper.call("great", 20);
    bool beside = false;
    for (double now = 0.0; now < 12.0; now += kStep_s) {
        helper.advance(chamber, Seconds{now});
        beside = beside || (helper.holds() && helper.holds()->key != 20);
    }
    EXPECT_TRUE(beside);
    ASSERT_TRUE(helper.holds().has_value());
    EXPECT_EQ(helper.holds()->key, 20);
}

TEST(SimulatedHelper, HoldsTheSecondStopBackUntilTheReferenceWasHeard) {
    Chamber chamber(one_of_each(), still());
    SimulatedHelper helper({});
    helper.draw("great", "open", true);
    helper.hold_back("great", "string", Seconds{2.0});
    double now = 0.0;
    for (const int key : {20, 21}) {
        helper.call("great", key);
        double alone = 0.0;
        double both = 0.0;
        for (const double end = now + 6.0; now < end; now += kStep_s) {
            helper.advance(chamber, Seconds{now});
            heard(chamber, kStep_s);
            if (helper.holds() != SimulatedHelper::Key{"great", key}) continue;
            const bool second = chamber.cycles({"great", "string", 1, key}).has_value();
            (second ? both : alone) += kStep_s;
        }
        EXPECT_NEAR(alone, 2.0, 0.05) << key;
        EXPECT_GT(both, 1.0) << key;
    }
    helper.hold_back("great", "string", Seconds{0.0});
    helper.call("great", 22);
    for (const double end = now + 3.0; now < end; now += kStep_s)
        helper.advance(chamber, Seconds{now});
    EXPECT_TRUE(chamber.cycles({"great", "string", 1, 22}).has_value());
}

TEST(SimulatedHelper, HoldsTwoKeysAtOnce) {
    Chamber chamber(one_of_each(), still());
    SimulatedHelper helper({});
    helper.draw("great", "open", true);
    helper.call({"great", 13}, {"great", 25});
    double now = 0.0;
    for (; now < 3.0; now += kStep_s)
        helper.advance(chamber, Seconds{now});
    EXPECT_EQ(helper.holds(), (SimulatedHelper::Key{"great", 13}));
    EXPECT_EQ(helper.keys_down().size(), 2U);
    EXPECT_TRUE(chamber.cycles({"great", "open", 1, 13}).has_value());
    EXPECT_TRUE(chamber.cycles({"great", "open", 1, 25}).has_value());
    helper.call("great", 14);
    for (; now < 6.0; now += kStep_s) {
        helper.advance(chamber, Seconds{now});
        heard(chamber, kStep_s);
    }
    EXPECT_EQ(helper.keys_down().size(), 1U);
    EXPECT_FALSE(chamber.cycles({"great", "open", 1, 25}).has_value());
}

/// A screen that reads the chamber's pitch as the product would: to 0.05 cent, some time after the
/// last movement, with the product's own advice.
struct Job {
    double seconds = 0.0;
    double cents = 0.0;
    int moves = 0;
};

Job tune(const organ::Pipe& pipe, const organ::Instrument& instrument, Chamber& chamber,
         std::uint64_t seed) {
    SimulatedTechnician::Parameters parameters;
    parameters.seed = seed;
    SimulatedTechnician technician(parameters);
    const Hertz home = organ::target(instrument, pipe, {});
    technician.turn_to(to_string(pipe.id), pipe.make.device, Seconds{0.0});
    double moved = 0.0;
    for (double now = 0.0; now < 300.0; now += kStep_s) {
        const Hertz pitch = chamber.true_pitch(pipe.id);
        Screen screen;
        screen.shows_figure = now > moved + 0.5;
        screen.settled = now > moved + 2.0;
        screen.cents = std::round(interval(home, pitch).value() * 20.0) / 20.0;
        screen.kept = screen.settled && std::abs(screen.cents) <= 0.5;
        const organ::Movement advice = organ::movement(pipe, pitch, Cents{-screen.cents}, 343.2);
        screen.way = advice.way;
        screen.at_least = advice.at_least;
        screen.at_most = advice.at_most;
        const Deed deed = technician.look(screen, Seconds{now});
        if (deed.kind == Deed::Kind::move) {
            chamber.move_device(pipe.id, deed.up);
            moved = now;
        }
        if (deed.kind == Deed::Kind::next) {
            return {now, interval(home, chamber.true_pitch(pipe.id)).value(), technician.moves()};
        }
    }
    return {300.0, interval(home, chamber.true_pitch(pipe.id)).value(), technician.moves()};
}

TEST(SimulatedTechnician, WorksPipesOfEveryKindIntoTune) {
    const organ::Instrument instrument = one_of_each();
    int pipes = 0;
    int in_tune = 0;
    int moves = 0;
    for (std::uint64_t seed = 1; seed <= 3; ++seed) {
        Chamber::Parameters parameters = still();
        parameters.seed = seed;
        Chamber chamber(instrument, parameters);
        for (const organ::Pipe& pipe : organ::pipes(instrument)) {
            if (pipe.id.key % 12 != 1) continue;
            const Job job = tune(pipe, instrument, chamber, seed);
            ++pipes;
            moves += job.moves;
            if (std::abs(job.cents) <= 0.6) ++in_tune;
            EXPECT_GT(job.seconds, 0.5) << to_string(pipe.id);
        }
    }
    EXPECT_GT(in_tune, 0.95 * pipes);
    EXPECT_LT(moves, 6 * pipes);
}

TEST(SimulatedTechnician, DoesNothingWithoutAFigureOrAWayAndGivesUpInTime) {
    Screen no_way;
    no_way.shows_figure = true;
    no_way.settled = true;
    no_way.cents = 3.0;
    for (const Screen& screen : {Screen{}, no_way}) {
        SimulatedTechnician technician({});
        technician.turn_to("a pipe", organ::TuningDevice::sleeve, Seconds{0.0});
        double next_at = 0.0;
        for (double now = 0.0; now < 60.0 && next_at == 0.0; now += kStep_s) {
            const Deed deed = technician.look(screen, Seconds{now});
            EXPECT_NE(deed.kind, Deed::Kind::move);
            if (deed.kind == Deed::Kind::next) next_at = now;
        }
        EXPECT_GT(next_at, 5.0);
    }
}

TEST(SimulatedTechnician, BelievesTheScreenEvenWhenItLies) {
    SimulatedTechnician technician({});
    technician.turn_to("a pipe", organ::TuningDevice::sleeve, Seconds{0.0});
    Screen screen;
    screen.shows_figure = true;
    screen.settled = true;
    screen.cents = 5.0;
    screen.way = organ::Way::down;  // wrong: a sharp pipe's sleeve goes up
    for (double now = 0.0; now < 5.0; now += kStep_s) {
        const Deed deed = technician.look(screen, Seconds{now});
        EXPECT_LE(deed.up.value(), 0.0);
    }
    EXPECT_GT(technician.moves(), 0);
}

}  // namespace people_test
}  // namespace rankwright::simulator
