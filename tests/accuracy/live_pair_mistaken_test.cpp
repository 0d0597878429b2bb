// What the live ear for two pipes may mistake for one of them: the last key's sound in the room, a
// null of the two, a slow beat for an end. Presses (live_pair.h) in which it was mistaken.
#include "accuracy/live_pair.h"
#include "listening/pair_listener.h"
#include "tuning/against_reference.h"

#include <cmath>
#include <cstdint>
#include <utility>

#include <gtest/gtest.h>

namespace rankwright::testing {
namespace live_pair_mistaken_test {

// The helper goes from key to key without a pause. What the last pipe leaves in the room stands
// beside the next one's own partials, and dies away: it isn't that pipe.
TEST(LivePairs, TheLastKeysSoundIsNoPipeBesideItsReference) {
    for (const auto& [key, seed] :
         {std::pair<int, std::uint64_t>{36, 1361}, {42, 1421}, {48, 1480}, {48, 1481}}) {
        const LivePair press{.stop = "Great/Principal 8'",
                             .key = key,
                             .seed = seed,
                             .off_cents = 3.0,
                             .seconds = 4.0,
                             .after_key = key + 2};
        const LiveOutcome o = hear_live(press);
        EXPECT_LT(o.told_s, 0.05) << words(press);
        EXPECT_GT(o.shown_s, 3.0) << words(press);
        EXPECT_LT(o.wrong_s, 0.5) << words(press);
    }
}

// Two alike are silent together while they stand against each other. What sounds again is no
// reference alone, which would turn the sign.
TEST(LivePairs, TwoThatCancelAreNotTakenForTheReferenceAlone) {
    const LivePair press{
        .stop = "Swell/Gemshorn 4'", .key = 50, .seed = 5500, .off_cents = 0.4, .seconds = 15.0};
    const LiveOutcome o = hear_live(press);
    EXPECT_GT(o.shown_s, 9.0);
    EXPECT_LT(o.wrong_s, 0.5);
    EXPECT_NEAR(o.heard, o.truth, 0.5 * o.cent_hz);
}

// A slow beat of a loud reed hides its reference for a while. That pitch isn't forgotten for it,
// without which there is no sign.
TEST(LivePairs, AReferenceHiddenByASlowBeatIsNotForgotten) {
    const LivePair press{
        .stop = "Great/Trumpet 8'", .key = 36, .seed = 5361, .off_cents = 0.4, .seconds = 15.0};
    double known_s = 0.0, forgotten_s = 0.0;
    const LiveOutcome o = hear_live(press, [&](double, const listening::PairHearing& heard,
                                               const tuning::PairedState&, double) {
        if (heard.reference)
            known_s += kLook_s;
        else if (known_s > 0.0)
            forgotten_s += kLook_s;
    });
    EXPECT_GT(known_s, 14.0);
    EXPECT_EQ(forgotten_s, 0.0);
    EXPECT_LT(o.worst_cents, 0.5);
}

}  // namespace live_pair_mistaken_test
}  // namespace rankwright::testing
