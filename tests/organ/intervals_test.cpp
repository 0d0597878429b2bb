#include "organ/intervals.h"

#include "organ/one_rank.h"

#include <cmath>
#include <map>
#include <set>

#include <gtest/gtest.h>

namespace rankwright::organ {
namespace intervals_test {

using namespace literals;

constexpr int kTenorF = 18;
constexpr int kMiddleG = 32;

std::map<std::string, std::vector<double>> beats_by_interval(const Instrument& organ) {
    const StopRef stop = find_stop(organ, "Principal 8'").value();
    std::map<std::string, std::vector<double>> out;
    for (const BeatingInterval& one : beat_table(organ, stop, kTenorF, kMiddleG, {}))
        out[one.interval->name].push_back(one.beat.value());
    return out;
}

void expect_printed(const std::vector<double>& beats, const std::vector<double>& printed,
                    double sign) {
    ASSERT_GE(beats.size(), printed.size());
    for (std::size_t i = 0; i < printed.size(); ++i)
        EXPECT_NEAR(beats[i], sign * printed[i], 0.0501) << i;
}

// S. Teki et al., J. Neurosci. 32(35), 2012, p. 12251, table 1 (after Capleton): beats a second in
// equal temperament at A 440, F3 to G4. Fourths and major thirds and sixths wide, the rest narrow.
TEST(Intervals, EqualTemperamentAgainstTheTunersTable) {
    const auto beats = beats_by_interval(organ_of({rank_of("Principal 8'", {8, 1})}));
    expect_printed(beats.at("major third"),
                   {6.9, 7.3, 7.8, 8.2, 8.7, 9.2, 9.8, 10.4, 11.0, 11.7, 12.3}, 1.0);
    expect_printed(beats.at("fourth"), {0.8, 0.8, 0.9, 0.9, 1.0, 1.1, 1.1, 1.2, 1.3, 1.3}, 1.0);
    expect_printed(beats.at("fifth"), {0.6, 0.6, 0.7, 0.7, 0.7, 0.8, 0.8, 0.9}, -1.0);
    expect_printed(beats.at("major sixth"), {7.9, 8.4, 8.9, 9.4, 10.0, 10.6}, 1.0);
    expect_printed(beats.at("minor third"), {9.4, 10.0, 10.6, 11.2, 11.9, 12.6, 13.3, 14.1}, -1.0);
    expect_printed(beats.at("minor sixth"), {11.0, 11.7, 12.3, 13.1, 13.9, 14.7, 15.6}, -1.0);
}

// J. C. Fischer, Piano Tuning (1907), ch. XII: thirds on C 256 beat 10, 13 1/10 and 16; he reckons
// with rounded pitches, which shifts the middle one by 0.3.
TEST(Intervals, ThirdsAgainstFischer) {
    Instrument organ = organ_of({rank_of("Principal 8'", {8, 1})});
    const StopRef stop = find_stop(organ, "Principal 8'").value();
    const Day day{430.539_Hz, {}};  // C 256
    std::map<int, double> third;
    for (const BeatingInterval& one : beat_table(organ, stop, 25, 37, day))
        if (std::string(one.interval->name) == "major third") third[one.low_key] = one.beat.value();
    EXPECT_NEAR(third.at(25), 10.0, 0.35);
    EXPECT_NEAR(third.at(29), 13.1, 0.35);
    EXPECT_NEAR(third.at(33), 16.0, 0.35);
}

// hpschd.nu, on temperaments: F–A beats about 3 a second in Vallotti, about 5 in Neidhardt's
// Grosse Stadt.
TEST(Intervals, UnequalTemperamentsByTheBeatsOfFA) {
    EXPECT_NEAR(beats_by_interval(organ_of({rank_of("Principal 8'", {8, 1})}, "Vallotti"))
                    .at("major third")[0],
                3.0, 0.3);
    EXPECT_NEAR(beats_by_interval(
                    organ_of({rank_of("Principal 8'", {8, 1})}, "Neidhardt 1724 Grosse Stadt"))
                    .at("major third")[0],
                5.0, 0.3);
}

// Quarter-comma meantone has pure thirds (Aaron 1523): no beat on F–A.
TEST(Intervals, MeantoneThirdsStandStill) {
    const auto beats =
        beats_by_interval(organ_of({rank_of("Principal 8'", {8, 1})}, "quarter-comma meantone"));
    EXPECT_NEAR(beats.at("major third")[0], 0.0, 1e-9);
}

TEST(Intervals, BeatsDoubleEveryOctave) {
    const TuningInterval& fifth = *find_interval("fifth");
    const double low = beat(fifth, 174.614_Hz, 261.626_Hz).value();
    EXPECT_NEAR(beat(fifth, 349.228_Hz, 523.252_Hz).value(), 2.0 * low, 1e-9);
    EXPECT_EQ(find_interval("fifteenth"), nullptr);
}

TEST(Intervals, InWords) {
    const BeatingInterval narrow{18, 25, find_interval("fifth"), Hertz{-0.591}};
    EXPECT_EQ(to_words(narrow, 36), "fifth tenor F – middle C narrow, 0.59 beats a second");
    EXPECT_EQ(to_words({18, 25, find_interval("fifth"), Hertz{0.0}}, 36),
              "fifth tenor F – middle C pure");
}

class BearingsOf : public ::testing::TestWithParam<const char*> {};

// Every note is set once, from one that stands already, without crossing the wolf; and what the
// steps and their beats say makes the temperament again.
TEST_P(BearingsOf, ReachEveryNote) {
    Instrument organ = organ_of({rank_of("Principal 8'", {8, 1})}, GetParam());
    for (const int first : {kTenorF, 13, 20}) {
        organ.bearings = Bearings{"great", "principal-8", first, first + 12};
        const std::vector<BearingStep> plan = bearings_plan(organ, {});
        ASSERT_EQ(plan.size(), 13U);
        std::map<int, double> hertz;
        for (const BearingStep& step : plan) {
            EXPECT_EQ(hertz.count(step.key), 0U);
            EXPECT_GE(step.key, first);
            EXPECT_LE(step.key, first + 12);
            if (step.from == step.key) {
                hertz[step.key] = 440.0 * std::exp2((step.key - 34) / 12);
                continue;
            }
            ASSERT_EQ(hertz.count(step.from), 1U);
            const TuningInterval& by = *step.to_set.interval;
            const double from = hertz[step.from], b = step.to_set.beat.value();
            hertz[step.key] = step.key > step.from ? (from * by.upper + b) / by.lower
                                                   : (from * by.lower - b) / by.upper;
            EXPECT_EQ(step.key_beat.value() > 0.0, (step.key > step.from) == (b > 0.0) && b != 0.0);
        }
        for (const Pipe& pipe : pipes(find_stop(organ, "Principal 8'").value())) {
            if (const auto set = hertz.find(pipe.key); set != hertz.end()) {
                EXPECT_NEAR(set->second, target(organ, pipe, {}).value(), 1e-6) << pipe.note;
            }
        }
    }
}

INSTANTIATE_TEST_SUITE_P(Intervals, BearingsOf,
                         ::testing::Values("equal", "quarter-comma meantone", "Werckmeister III",
                                           "Vallotti", "Kirnberger III", "Pythagorean"));

// The wolf, 35.7 cents wide, would beat more than ten times a second here; the widest fourth of the
// temperament beats three times.
TEST(Intervals, TheBearingsDoNotCrossTheWolf) {
    Instrument organ = organ_of({rank_of("Principal 8'", {8, 1})}, "quarter-comma meantone");
    organ.bearings = Bearings{"great", "principal-8", kTenorF, kTenorF + 12};
    for (const BearingStep& step : bearings_plan(organ, {}))
        EXPECT_LT(std::abs(step.to_set.beat.value()), 5.0) << step.key;
}

}  // namespace intervals_test
}  // namespace rankwright::organ
