#include "organ/footage.h"

#include "core/units.h"

#include <gtest/gtest.h>

namespace rankwright::organ {
namespace footage_test {

double cents_above_8(const char* text) {
    const auto footage = parse_footage(text);
    EXPECT_TRUE(footage) << text;
    return footage ? interval(Hertz{1.0}, Hertz{footage->ratio()}).value() : 0.0;
}

// Names and harmonics of mutations: E. Greifenberger, Institut für Orgelkunde (Rauschpfeife 2 2/3 +
// 2, Sesquialtera 2 2/3 + 1 3/5); Wikipedia, "Organ stop": 12th, 15th, 17th, 19th, 22nd. The cents
// are those of the harmonics 3, 4, 5, 6, 7.
TEST(Footage, ExactRatiosOfMutations) {
    EXPECT_NEAR(cents_above_8("2 2/3"), 1901.955, 5e-4);
    EXPECT_NEAR(cents_above_8("2"), 2400.0, 1e-9);
    EXPECT_NEAR(cents_above_8("1 3/5"), 2786.314, 5e-4);
    EXPECT_NEAR(cents_above_8("1 1/3"), 3101.955, 5e-4);
    EXPECT_NEAR(cents_above_8("1 1/7"), 3368.826, 5e-4);
    EXPECT_NEAR(cents_above_8("10 2/3"), -498.045, 5e-4);
    EXPECT_NEAR(cents_above_8("5 1/3"), 701.955, 5e-4);
    EXPECT_NEAR(cents_above_8("32"), -2400.0, 1e-9);
    EXPECT_NEAR(cents_above_8("1/2"), 4800.0, 1e-9);
}

TEST(Footage, AsPeopleWriteIt) {
    const Footage twelfth{8, 3};
    for (const char* text :
         {"2 2/3", "2-2/3", "2 2/3'", "2 2/3′", "2⅔", "2⅔′", "2 ⅔ ft", "8/3", " 2 2/3 "})
        EXPECT_EQ(parse_footage(text), twelfth) << text;
    EXPECT_EQ(parse_footage("16'"), (Footage{16, 1}));
    EXPECT_EQ(parse_footage("4/2"), (Footage{2, 1}));
    for (const char* text : {"", "'", "2 2/", "2/0", "0", "2 2/3 x", "eight", "8 8", "-8", "2,67",
                             "2.667", "99999999999", "1/17", "65", "2 2 /3", "8''"})
        EXPECT_EQ(parse_footage(text), std::nullopt) << text;
}

TEST(Footage, WritesItselfBack) {
    for (const char* text : {"32", "10 2/3", "8", "5 1/3", "2 2/3", "1 3/5", "1", "2/3", "1/8"})
        EXPECT_EQ(to_string(*parse_footage(text)), text);
}

// Wikipedia, "Mixture (organ stop)": a Fourniture 19.22.26.29 on 8′ is 1 1/3, 1, 2/3, 1/2.
TEST(Footage, IntervalsOfMixtures) {
    EXPECT_EQ(to_string(*footage_of_interval(1)), "8");
    EXPECT_EQ(to_string(*footage_of_interval(5)), "5 1/3");
    EXPECT_EQ(to_string(*footage_of_interval(8)), "4");
    EXPECT_EQ(to_string(*footage_of_interval(12)), "2 2/3");
    EXPECT_EQ(to_string(*footage_of_interval(15)), "2");
    EXPECT_EQ(to_string(*footage_of_interval(17)), "1 3/5");
    EXPECT_EQ(to_string(*footage_of_interval(19)), "1 1/3");
    EXPECT_EQ(to_string(*footage_of_interval(22)), "1");
    EXPECT_EQ(to_string(*footage_of_interval(26)), "2/3");
    EXPECT_EQ(to_string(*footage_of_interval(29)), "1/2");
    EXPECT_EQ(footage_of_interval(18), std::nullopt);
    EXPECT_EQ(footage_of_interval(0), std::nullopt);
}

TEST(Footage, OctavesAndSemitones) {
    EXPECT_TRUE(parse_footage("1/2")->octave_sounding());
    EXPECT_TRUE(parse_footage("16")->octave_sounding());
    EXPECT_FALSE(parse_footage("1 1/3")->octave_sounding());
    EXPECT_EQ(parse_footage("2 2/3")->semitones(), 19);
    EXPECT_EQ(parse_footage("1 3/5")->semitones(), 28);
    EXPECT_EQ(parse_footage("16")->semitones(), -12);
}

}  // namespace footage_test
}  // namespace rankwright::organ
