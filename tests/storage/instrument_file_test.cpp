#include "storage/instrument_file.h"

#include "organ/target.h"
#include "storage/examples.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::storage {
namespace instrument_file_test {

using ::testing::AllOf;
using ::testing::ElementsAre;
using ::testing::HasSubstr;

constexpr const char* kHead = R"(name = "The test organ"
pitch = { a = 440, at = "18C" }
temperament = "equal"
[[division]]
name = "Great"
keys = 61
chest = "chromatic"
)";

// `stops` begins on line 8 of the file.
std::string file_with(std::string_view stops) { return std::string(kHead) + std::string(stops); }

std::vector<std::string> mistakes_of(std::string_view toml) {
    const LoadedInstrument loaded = read_instrument(toml, "t.toml");
    std::vector<std::string> lines;
    if (loaded) return lines;
    for (const Error& error : loaded.error())
        lines.push_back(to_line(error));
    return lines;
}

TEST(InstrumentFile, ASmallOrgan) {
    const auto organ = read_instrument(file_with(R"([[division.stop]]
name = "Twelfth 2 2/3'"
kind = "open"
tuned_by = "cone"
[[division.stop]]
name = "Trumpet"
id = "tromba"
feet = 8
from = "tenor C"
to = 49
kind = "full-length reed"
follows_temperature = 0.25
pipes = [{ from = "tenor C" }, { from = "treble C", kind = "open", tuned_by = "sleeve" }]
)"),
                                       "t.toml");
    ASSERT_TRUE(organ);
    const auto& stops = organ->divisions.at(0).stops;
    EXPECT_EQ(stops.at(0).footage, (organ::Footage{8, 3}));
    EXPECT_EQ(stops.at(1).id, "tromba");
    const auto trumpet = organ::pipes(organ::find_stop(*organ, "Trumpet").value());
    ASSERT_EQ(trumpet.size(), 37U);
    EXPECT_EQ(trumpet.front().note, "tenor C");
    EXPECT_EQ(trumpet.front().make.device, organ::TuningDevice::reed_wire);
    EXPECT_EQ(trumpet.front().make.temperature_share, 0.25);
    EXPECT_EQ(trumpet.back().make.kind, organ::PipeKind::open);
    EXPECT_EQ(trumpet.back().make.temperature_share, 1.0);
}

TEST(InstrumentFile, EveryMistakeInOneRunWithItsPlace) {
    EXPECT_THAT(
        mistakes_of(R"(nam = "X"
pitch = { a = 440, at = 18 }
temperament = "Valotti"
[[division]]
name = "Great"
keys = "61"
chest = "chromatik"
[[division.stop]]
name = "Principal 8'"
kind = "opne"
tuned_by = "sleeve"
materal = "wood"
[[division.stop]]
name = "Octave"
feet = 2.667
kind = "stopped"
tuned_by = "cone"
)"),
        ElementsAre(
            HasSubstr("t.toml:1:1: the instrument has no \"name\""),
            AllOf(HasSubstr("t.toml:1:1: unknown key \"nam\""),
                  HasSubstr("did you mean \"name\"?")),
            AllOf(HasSubstr("t.toml:2:25: \"at\" is 18; expected"), HasSubstr("\"18C\"")),
            AllOf(HasSubstr("t.toml:3:15: \"temperament\" is \"Valotti\""),
                  HasSubstr("did you mean \"Vallotti\"?")),
            AllOf(HasSubstr("t.toml:6:8: \"keys\" is \"61\""), HasSubstr("whole number")),
            AllOf(HasSubstr("t.toml:7:9: \"chest\" is \"chromatik\""),
                  HasSubstr("did you mean \"chromatic\"?")),
            AllOf(HasSubstr("t.toml:10:8: \"kind\" is \"opne\""),
                  HasSubstr("did you mean \"open\"?")),
            AllOf(HasSubstr("t.toml:12:1: unknown key \"materal\""),
                  HasSubstr("did you mean \"material\"?")),
            AllOf(HasSubstr("t.toml:15:8: \"feet\" is 2.667"), HasSubstr("2 2/3")),
            AllOf(HasSubstr("t.toml:17:12: \"tuned_by\" is \"cone\""), HasSubstr("\"stopper\""))));
}

struct Case {
    const char* stop;     ///< lines from line 8 on
    const char* message;  ///< part of the only mistake, with its place
};

class OneMistake : public ::testing::TestWithParam<Case> {};

TEST_P(OneMistake, IsFoundAtItsPlace) {
    EXPECT_THAT(mistakes_of(file_with(GetParam().stop)), ElementsAre(HasSubstr(GetParam().message)))
        << GetParam().stop;
}

constexpr const char* kOpen = "kind = \"open\"\ntuned_by = \"cone\"\n";

const std::vector<Case>& cases() {
    static const std::vector<Case> all{
        {"", "t.toml:4:1: division \"Great\" has no \"stop\""},
        {"[[division.stop]]\nname = \"Flute\"\nkind = \"open\"\ntuned_by = \"cone\"\n",
         "t.toml:8:1: stop \"Flute\" has no \"feet\""},
        {"[[division.stop]]\nname = \"Flute 8'\"\nkind = \"open\"\n",
         "t.toml:8:1: stop \"Flute 8'\" has no \"tuned_by\""},
        {"[[division.stop]]\nname = \"Flute 8'\"\ntuned_by = \"cone\"\n",
         "t.toml:8:1: stop \"Flute 8'\" has no \"kind\""},
        {"[[division.stop]]\nname = \"Flute 8'\"\nkind = \"open\"\ntuned_by = \"cone\"\n"
         "from = \"GG\"\n",
         "t.toml:12:8: \"from\" is \"GG\"; expected a key of this keyboard: 1 to 61"},
        {"[[division.stop]]\nname = \"Flute 8'\"\nkind = \"open\"\ntuned_by = \"cone\"\n"
         "from = \"tenor C\"\nto = 5\n",
         "t.toml:13:6: \"to\" is 5; expected a key above"},
        {"[[division.stop]]\nname = \"Flute 8'\"\nkind = \"open\"\ntuned_by = \"cone\"\n"
         "[[division.stop]]\nname = \"Flute 8'\"\nkind = \"open\"\ntuned_by = \"cone\"\n",
         "t.toml:12:1: a second stop of this division has the id \"flute-8\""},
        {"[[division.stop]]\nname = \"Flute 8'\"\nkind = \"open\"\ntuned_by = \"cone\"\n"
         "follows_temperature = 1.5\n",
         "t.toml:12:23: \"follows_temperature\" is 1.5; expected a number from 0 to 1"},
        {"[[division.stop]]\nname = \"Flute 8'\"\nborrowed_from = \"Subbass 16'\"\n",
         "t.toml:10:17: There is no stop \"Subbass 16'\""},
        {"[[division.stop]]\nname = \"Mixture\"\nkind = \"open\"\ntuned_by = \"cone\"\n"
         "mixture = [\n{ from = \"CC\", rows = \"15.18\" },\n]\n",
         "t.toml:13:23: \"rows\" is \"15.18\""},
        {"[[division.stop]]\nname = \"Mixture\"\nkind = \"open\"\ntuned_by = \"cone\"\n"
         "mixture = [\n{ from = \"CC\", rows = \"15.19\" },\n{ from = \"CC\", rows = \"8.12\" }]\n",
         "t.toml:14:10: \"from\" is \"CC\"; expected a key of the stop above the range before"},
    };
    return all;
}

INSTANTIATE_TEST_SUITE_P(InstrumentFile, OneMistake, ::testing::ValuesIn(cases()));

TEST(InstrumentFile, OwnTemperaments) {
    const auto with = [](std::string_view temperament) {
        std::string text = file_with("[[division.stop]]\nname = \"Principal 8'\"\n");
        text += kOpen;
        const std::string_view kEqual = "temperament = \"equal\"";
        return text.replace(text.find(kEqual), kEqual.size(), temperament);
    };
    const auto by_fifths = read_instrument(
        with("temperament = { name = \"own\", fifths = [\"-1/4 pythagorean\", \"-1/4 pythagorean\","
             "\"-1/4 pythagorean\", 0, 0, \"-1/4 pythagorean\", 0, \"pure\", 0, 0, 0, 0] }"),
        "t");
    ASSERT_TRUE(by_fifths) << to_line(by_fifths.error().front());
    const auto known = *organ::built_in_temperament("Werckmeister III");
    for (std::size_t i = 0; i < 12; ++i)
        EXPECT_NEAR(by_fifths->temperament.from_equal[i].value(), known.from_equal[i].value(),
                    1e-9);
    const auto moved =
        read_instrument(with("temperament = { name = \"Vallotti\", start = \"G\" }"), "t");
    ASSERT_TRUE(moved);
    const auto young = *organ::built_in_temperament("Young II", 0);
    // Young II is Vallotti begun a fifth higher (Wikipedia, "Young temperament").
    for (std::size_t i = 0; i < 12; ++i)
        EXPECT_NEAR(moved->temperament.from_equal[i].value(), young.from_equal[i].value(), 1e-9);
    EXPECT_THAT(mistakes_of(with("temperament = { name = \"own\", fifths = [0,0,0,0,0,0,0,0,0,0,0,"
                                 "-20] }")),
                ElementsAre(HasSubstr("miss it by 3.460 cents")));
    EXPECT_THAT(mistakes_of(with("temperament = { name = \"own\", offsets = [0, 1] }")),
                ElementsAre(HasSubstr("t.toml:3:41: \"offsets\" is a list; expected twelve")));
}

TEST(InstrumentFile, AMissingFileSaysSo) {
    const auto loaded = load_instrument("no-such-organ.toml");
    ASSERT_FALSE(loaded);
    ASSERT_EQ(loaded.error().size(), 1U);
    EXPECT_EQ(loaded.error()[0].kind, ErrorKind::not_found);
    EXPECT_THAT(loaded.error()[0].message, HasSubstr("no such file"));
}

TEST(InstrumentFile, TheExamplesAreSound) {
    ASSERT_FALSE(example_files().empty());
    for (const auto& path : example_files()) {
        std::vector<std::string> lines;
        for (const Error& error : check_instrument_file(path))
            lines.push_back(to_line(error));
        EXPECT_THAT(lines, ElementsAre()) << path;
    }
}

}  // namespace instrument_file_test
}  // namespace rankwright::storage
