#include "organ/air.h"

#include <gtest/gtest.h>

namespace rankwright::organ {
namespace air_test {

using namespace literals;

TEST(Air, TemperaturesAsPeopleWriteThem) {
    EXPECT_DOUBLE_EQ(parse_temperature("21.3C")->value(), 21.3);
    EXPECT_DOUBLE_EQ(parse_temperature("21.3 °C")->value(), 21.3);
    EXPECT_DOUBLE_EQ(parse_temperature("-5c")->value(), -5.0);
    // 32 °F = 0 °C, 212 °F = 100 °C: definition of the degree Fahrenheit (NIST SP 811, B.8).
    EXPECT_NEAR(parse_temperature("70.4F")->value(), 21.3333, 1e-4);
    EXPECT_NEAR(parse_temperature("68 °F")->value(), 20.0, 1e-12);
    for (const char* text : {"", "21.3", "C", "21.3K", "21,3C", "nanC", "infC", "212F", "-50C",
                             "21.3CC", "21.3 C C", "x21C"})
        EXPECT_EQ(parse_temperature(text), std::nullopt) << text;
    EXPECT_EQ(celsius_text(21.34_degC), "21.3 °C");
    EXPECT_EQ(fahrenheit_text(20_degC), "68.0 °F");
}

// ISO 9613-1:1993, formula A.5: 343.2 m/s at 20 °C, with the root of the absolute temperature.
// 331.3 m/s at 0 °C (CRC Handbook): from memory.
TEST(Air, SpeedOfSoundInDryAir) {
    EXPECT_DOUBLE_EQ(speed_of_sound(20_degC), 343.2);
    EXPECT_NEAR(speed_of_sound(0_degC), 331.3, 0.05);
}

// IEC 61094-2:2009, Annex F: 345.86652 m/s, for 23 °C, 101.325 kPa and 50 % (conditions from
// memory). Dry air at 0 °C: 331.45 m/s, the classic handbook value.
TEST(Air, SpeedOfSoundInMoistAir) {
    EXPECT_NEAR(speed_of_sound(Air{23_degC, 0.5, 101325.0, 0.0004}), 345.86652, 5e-6);
    EXPECT_NEAR(speed_of_sound(Air{0_degC, 0.0, 101325.0, 0.000314}), 331.45, 0.01);
}

// "An ideal pipe gives 425 Hz at 0 °C, 432.7 at 10, 440.3 at 20 and 447.8 at 30; 30 K make about
// 90 cents": Early Music Sources, "Historical pitch", footnote 1.
TEST(Air, AFluePipeFollowsTheTemperature) {
    const Hertz at_20 = 440.3_Hz;
    EXPECT_NEAR(transpose(at_20, flue_shift(20_degC, 0_degC)).value(), 425.0, 0.06);
    EXPECT_NEAR(transpose(at_20, flue_shift(20_degC, 10_degC)).value(), 432.7, 0.06);
    EXPECT_NEAR(transpose(at_20, flue_shift(20_degC, 30_degC)).value(), 447.8, 0.06);
    EXPECT_NEAR(flue_shift(0_degC, 30_degC).value(), 90.0, 0.5);
}

// J. W. Beauchamp, auditory list 1999: about 3.2 cents a kelvin (at 0 °C). Audsley, The Art of
// Organ-Building (1905): a pipe of 435 at 59 °F gives "very nearly 440" at 68 °F.
TEST(Air, SlopesInPrint) {
    EXPECT_NEAR(flue_shift(-0.5_degC, 0.5_degC).value(), 3.2, 0.05);
    EXPECT_NEAR(transpose(435_Hz, flue_shift(15_degC, 20_degC)).value(), 440.0, 1.3);
}

// The slope at constant relative humidity exceeds the dry one, since vapour grows with warmth;
// from 0 to 100 % at 20 °C pitch rises by some 6 cents (both computed from Cramer's formula by
// others; a bound on sign and size, not an oracle).
TEST(Air, HumidityRaisesPitchALittle) {
    const double wetter = flue_shift(Air{20_degC, 0.0}, Air{20_degC, 1.0}).value();
    EXPECT_GT(wetter, 5.0);
    EXPECT_LT(wetter, 8.0);
    EXPECT_GT(flue_shift(Air{15_degC, 0.5}, Air{25_degC, 0.5}), flue_shift(15_degC, 25_degC));
}

// Saturated vapour: 1228 Pa at 10 °C, 2339 Pa at 20 °C (steam tables, IAPWS; from memory).
TEST(Air, WarmedWithoutWaterAirIsDrier) {
    EXPECT_NEAR(humidity_at(0.8, 10_degC, 20_degC), 0.8 * 1228.0 / 2339.0, 0.003);
    EXPECT_DOUBLE_EQ(humidity_at(0.8, 20_degC, 5_degC), 1.0) << "the rest falls as dew";
}

}  // namespace air_test
}  // namespace rankwright::organ
