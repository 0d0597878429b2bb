#include "organ/learned_moves.h"

#include <gtest/gtest.h>

namespace rankwright::organ {
namespace learned_moves_test {

using namespace literals;

TEST(LearnedMoves, NothingIsSaidBeforeTheFirstMove) {
    LearnedMoves moves;
    EXPECT_FALSE(moves.moves_for(440_Hz, 5_cents));
    EXPECT_EQ(moves.amount(440_Hz, 5_cents), "");
    moves.moved(440_Hz, Cents{0.03});
    EXPECT_EQ(moves.amount(440_Hz, 5_cents), "");
}

TEST(LearnedMoves, TapsLikeTheLast) {
    LearnedMoves moves;
    moves.moved(440_Hz, 2_cents);
    EXPECT_EQ(moves.amount(440_Hz, Cents{4.2}), "about two taps like the last");
    EXPECT_EQ(moves.amount(440_Hz, Cents{1.9}), "one tap like the last");
    EXPECT_EQ(moves.amount(440_Hz, Cents{1.0}), "about half a tap like the last");
    EXPECT_EQ(moves.amount(440_Hz, Cents{0.3}), "a touch, far less than the last tap");
    EXPECT_EQ(moves.amount(440_Hz, Cents{14.0}), "about 7 taps like the last");
    EXPECT_EQ(moves.amount(440_Hz, Cents{400.0}), "much more than the last tap");
    EXPECT_EQ(moves.amount(440_Hz, Cents{-4.0}), "about two taps like the last");
}

TEST(LearnedMoves, EachWayHasItsOwnLast) {
    LearnedMoves moves;
    moves.moved(440_Hz, 2_cents);
    moves.moved(440_Hz, Cents{-8.0});
    EXPECT_NEAR(*moves.moves_for(440_Hz, 4_cents), 2.0, 1e-9);
    EXPECT_NEAR(*moves.moves_for(440_Hz, Cents{-4.0}), 0.5, 1e-9);
}

// An open pipe changes by 1200/ln 2 × dL/L: a tap moves an octave's shorter pipe by twice the
// cents.
TEST(LearnedMoves, ServesTheNextPipe) {
    LearnedMoves moves;
    moves.moved(220_Hz, 2_cents);
    EXPECT_NEAR(*moves.moves_for(440_Hz, 4_cents), 1.0, 1e-9);
    moves.forget();
    EXPECT_FALSE(moves.moves_for(440_Hz, 4_cents));
}

}  // namespace learned_moves_test
}  // namespace rankwright::organ
