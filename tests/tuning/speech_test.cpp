// When a pipe counts as having spoken: figures as the ear reads them, from a pipe slow of speech in
// a simulated visit (60 cents flat at first, going by a factor e in 0.8 s).
#include "tuning/speech.h"

#include <cmath>
#include <optional>

#include <gtest/gtest.h>

namespace rankwright::tuning {
namespace speech_test {

Cents creeping(double s) { return Cents{-60.0 * std::exp(-s / 0.8)}; }

// The ear calls it moving and standing by turns on its way.
TEST(Speech, APipeThatCreepsInHasntSpokenBeforeItStands) {
    Spoken spoken;
    Seconds moved{0.0};
    std::optional<double> spoke_s;
    for (double s = 0.4; s < 8.0; s += 0.05) {
        const bool moving = s < 3.2 && std::fmod(s, 0.9) < 0.2;
        if (moving) moved = Seconds{s};
        const bool by = spoken.by(1, Seconds{s}, moving, creeping(s), Seconds{s} - moved);
        if (by && !spoke_s) spoke_s = s;
        if (!by && s > 1.0) {
            EXPECT_TRUE(spoken.creeps()) << s;
        }
    }
    ASSERT_TRUE(spoke_s);
    EXPECT_LT(std::abs(creeping(*spoke_s).value()), 1.0) << *spoke_s;
    EXPECT_LT(*spoke_s, 6.5);  // no later than six seconds after it was first heard
    EXPECT_FALSE(spoken.creeps());
}

TEST(Speech, APipeThatStandsHasSpokenAtOnceAndIsNotUnsaidByAMovement) {
    Spoken spoken;
    EXPECT_FALSE(spoken.by(1, Seconds{0.4}, false, Cents{5.0}, Seconds{0.3}));
    EXPECT_TRUE(spoken.by(1, Seconds{0.75}, false, Cents{5.3}, Seconds{0.65}));
    EXPECT_TRUE(spoken.by(1, Seconds{0.9}, true, Cents{1.0}, Seconds{0.0}));
    EXPECT_FALSE(spoken.creeps());
    // The next tone speaks anew.
    EXPECT_FALSE(spoken.by(2, Seconds{3.0}, false, Cents{1.0}, Seconds{0.3}));
}

// One that never stands isn't waited for without end.
TEST(Speech, WhatGoesOnAndOnCountsAfterSixSeconds) {
    Spoken spoken;
    bool by = false;
    for (double s = 0.0; s < 6.5; s += 0.1)
        by = spoken.by(1, Seconds{s}, true, Cents{s * 10.0}, Seconds{0.0});
    EXPECT_TRUE(by);
}

}  // namespace speech_test
}  // namespace rankwright::tuning
