// Two stops of one key that draw each other, as the microphone hears them.
#include "one_of_each.h"
#include "support/allocation_count.h"

#include <gtest/gtest.h>

namespace rankwright::simulator {
namespace drawn_pipes_test {

constexpr int kKey = 25;
const PipeId kOpen{"great", "open", 1, kKey};
const PipeId kTapered{"great", "tapered", 1, kKey};

Chamber::Parameters drawing(double cents) {
    Chamber::Parameters parameters = still();
    parameters.mistuning = Cents{0.0};
    parameters.drawing = Cents{cents};
    return parameters;
}

/// Moves the tapered pipe's sleeve until it stands `cents` over the open one, alone.
void set_apart(Chamber& chamber, double cents) {
    const auto pitch = [&] { return chamber.true_pitch(kTapered); };
    double slope = -1.0;  // cents a millimetre
    for (int i = 0; i < 30; ++i) {
        const double off = interval(chamber.true_pitch(kOpen), pitch()).value() - cents;
        if (std::abs(off) < 0.002) return;
        const Hertz before = pitch();
        chamber.move_device(kTapered, Millimetres{-off / slope});
        slope = interval(before, pitch()).value() / (-off / slope);
    }
    FAIL() << "the pipe can't be set";
}

struct Both {
    std::vector<float> samples;
    Hertz open, tapered;
};

Both play(Chamber& chamber, double seconds) {
    chamber.draw_stop("great", "open", true);
    chamber.draw_stop("great", "tapered", true);
    chamber.key_down("great", kKey);
    heard(chamber, 4.0);
    const double open = chamber.cycles(kOpen).value();
    const double tapered = chamber.cycles(kTapered).value();
    Both both{heard(chamber, seconds), {}, {}};
    both.open = Hertz{(chamber.cycles(kOpen).value() - open) / seconds};
    both.tapered = Hertz{(chamber.cycles(kTapered).value() - tapered) / seconds};
    return both;
}

// Angster et al., AES preprint 3534 (1993): a common frequency, in general slightly higher than
// both; Rayleigh 1879: two such pipes nearly silence each other. The sound itself is asked, by the
// phase of a long window, not only the chamber's own count.
TEST(DrawnPipes, InsideTheRangeOneHigherAndFainterTone) {
    Chamber chamber(one_of_each(), drawing(3.0));
    set_apart(chamber, 1.0);
    const Both both = play(chamber, 4.0);
    EXPECT_NEAR(interval(both.open, both.tapered).value(), 0.0, 1e-3);
    EXPECT_GT(both.open, chamber.true_pitch(kTapered));
    EXPECT_GT(chamber.true_pitch(kTapered), chamber.true_pitch(kOpen));
    EXPECT_NEAR(interval(both.open, partial_pitch(both.samples, 0, both.open, 2)).value(), 0, 0.01);

    const auto first_alone = [&](const char* stop) {
        Chamber alone(one_of_each(), drawing(3.0));
        alone.draw_stop("great", stop, true);
        alone.key_down("great", kKey);
        heard(alone, 4.0);
        const std::vector<float> sound = heard(alone, 1.0);
        return std::abs(tone(sound, 0, sound.size(), alone.true_pitch(kOpen).value()));
    };
    const double together = std::abs(tone(both.samples, 0, both.samples.size(), both.open.value()));
    EXPECT_LT(together, 0.6 * (first_alone("open") + first_alone("tapered")));
}

// Outside: they beat; 30 cents apart (over 1 %) faster than alone (Angster).
TEST(DrawnPipes, OutsideTheRangeTheyBeatAndFarOutFaster) {
    for (const double apart : {6.0, 30.0}) {
        Chamber chamber(one_of_each(), drawing(4.0));
        set_apart(chamber, apart);
        const Both both = play(chamber, 20.0);
        const double beats = interval(both.open, both.tapered).value();
        EXPECT_GT(beats, 1.0) << apart;
        if (apart > 17.2) {
            EXPECT_GT(beats, apart + 0.02);
        }
    }
}

TEST(DrawnPipes, OnlyNeighboursDraw) {
    Chamber alone(one_of_each(), drawing(0.0));
    set_apart(alone, 1.0);
    const Both free = play(alone, 4.0);
    EXPECT_NEAR(interval(free.open, free.tapered).value(), 1.0, 0.01);

    // The same pipes in two divisions.
    organ::Instrument instrument = one_of_each();
    organ::Division swell = instrument.divisions.front();
    swell.id = "swell";
    swell.name = "Swell";
    instrument.divisions.push_back(swell);
    Chamber chamber(instrument, drawing(3.0));
    chamber.draw_stop("great", "open", true);
    chamber.draw_stop("swell", "open", true);
    chamber.key_down("great", kKey);
    chamber.key_down("swell", kKey);
    heard(chamber, 3.0);
    const double before = chamber.cycles(kOpen).value();
    heard(chamber, 2.0);
    const Hertz sounds{(chamber.cycles(kOpen).value() - before) / 2.0};
    EXPECT_NEAR(interval(chamber.true_pitch(kOpen), sounds).value(), 0.0, 1e-3);
}

TEST(DrawnPipes, AnyChunksGiveTheSameSoundAndNothingIsAllocated) {
    std::vector<std::vector<float>> sounds;
    for (const std::size_t chunk : {std::size_t{64}, std::size_t{777}}) {
        Chamber::Parameters parameters;
        parameters.drawing = Cents{3.0};
        Chamber chamber(one_of_each(), parameters);
        for (const char* stop : {"open", "tapered", "reed-full"})
            chamber.draw_stop("great", stop, true);
        chamber.key_down("great", kKey);
        std::vector<float> sound(64 * 777);
        const std::size_t before = testing::allocations();
        for (std::size_t at = 0; at < sound.size(); at += chunk)
            chamber.render(std::span(sound).subspan(at, chunk));
        if (testing::allocations_are_counted()) {
            EXPECT_EQ(testing::allocations(), before);
        }
        chamber.key_up("great", kKey);
        heard(chamber, 0.5);
        EXPECT_FALSE(chamber.cycles(kOpen).has_value());
        sounds.push_back(sound);
    }
    EXPECT_EQ(sounds[0], sounds[1]);
}

}  // namespace drawn_pipes_test
}  // namespace rankwright::simulator
