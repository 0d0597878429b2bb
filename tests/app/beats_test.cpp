#include "app/beats.h"

#include <gtest/gtest.h>

namespace rankwright::app {
namespace beats_test {

// Rounding to a last digit d leaves a standard uncertainty of d/√12: JCGM 100:2008 (GUM), 4.3.7.
TEST(KnownByNumber, TakesItsUncertaintyFromTheDigits) {
    EXPECT_DOUBLE_EQ(known_by_number("262.3")->pitch.value(), 262.3);
    EXPECT_NEAR(known_by_number("262.3")->sd.value(), 0.028868, 1e-6);
    EXPECT_NEAR(known_by_number("440")->sd.value(), 0.288675, 1e-6);
    const auto exact = known_by_number("261.6255653");
    EXPECT_NEAR(interval(exact->pitch, exact->pitch + exact->sd).value(), 0.05, 1e-6);
}

TEST(KnownByNumber, RefusesWhatIsNoPitch) {
    for (const char* words : {"", "middle C", "262.3Hz", "-262", "0", "nan", "inf", "30000", "1e9"})
        EXPECT_FALSE(known_by_number(words)) << words;
}

TEST(Interval, IsTwoWholeNumbers) {
    EXPECT_EQ(parse_interval("1:1")->reference_partial, 1);
    EXPECT_EQ(parse_interval("3:2")->reference_partial, 3);
    EXPECT_EQ(parse_interval("3:2")->pipe_partial, 2);
    for (const char* words : {"", "1", "1:", ":1", "0:1", "1:0", "-1:1", "1:65", "1.5:1", "1:1:1"})
        EXPECT_FALSE(parse_interval(words)) << words;
}

}  // namespace beats_test
}  // namespace rankwright::app
