#include "organ/chest.h"

#include <algorithm>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::organ {
namespace chest_test {

using ::testing::ElementsAre;

// The C side holds C D E F♯ G♯ A♯, the C♯ side the rest (common practice, no source).
TEST(Chest, Sides) {
    const auto outside = standing_order(ChestArrangement::sides_tall_out, 1, 6);
    EXPECT_THAT(outside.keys, ElementsAre(1, 3, 5, 6, 4, 2));
    EXPECT_EQ(outside.other_side, 3U);
    const auto middle = standing_order(ChestArrangement::sides_tall_in, 1, 6);
    EXPECT_THAT(middle.keys, ElementsAre(5, 3, 1, 2, 4, 6));
    EXPECT_EQ(middle.other_side, 3U);
}

TEST(Chest, ChromaticAndThirds) {
    const auto chromatic = standing_order(ChestArrangement::chromatic, 3, 6);
    EXPECT_THAT(chromatic.keys, ElementsAre(3, 4, 5, 6));
    EXPECT_EQ(chromatic.other_side, 0U);
    EXPECT_THAT(standing_order(ChestArrangement::thirds, 1, 12).keys,
                ElementsAre(1, 5, 9, 2, 6, 10, 3, 7, 11, 4, 8, 12));
}

// With GG as the lowest key, CC is key 6 and still stands on the C side.
TEST(Chest, SidesGoByNoteNotByKeyNumber) {
    const auto order = standing_order(ChestArrangement::sides_tall_out, 1, 8, 31);
    EXPECT_THAT(order.keys, ElementsAre(2, 4, 6, 8, 7, 5, 3, 1));
}

TEST(Chest, EveryPipeStandsOnce) {
    for (const auto chest : {ChestArrangement::chromatic, ChestArrangement::sides_tall_out,
                             ChestArrangement::sides_tall_in, ChestArrangement::thirds})
        for (const int first : {1, 2, 13})
            for (const int last : {13, 54, 61}) {
                std::vector<int> keys = standing_order(chest, first, last).keys;
                std::sort(keys.begin(), keys.end());
                ASSERT_EQ(keys.size(), static_cast<std::size_t>(last - first + 1));
                for (std::size_t i = 0; i < keys.size(); ++i)
                    EXPECT_EQ(keys[i], first + static_cast<int>(i));
            }
}

}  // namespace chest_test
}  // namespace rankwright::organ
