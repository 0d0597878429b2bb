#include "storage/starter_file.h"

#include "organ/target.h"
#include "storage/examples.h"
#include "storage/instrument_file.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::storage {
namespace starter_file_test {

using organ::PipeKind;
using ::testing::HasSubstr;

organ::Instrument organ_from(const StarterAnswers& answers) {
    const auto loaded = read_instrument(starter_file(answers), "new.toml");
    if (loaded) return *loaded;
    for (const Error& error : loaded.error())
        ADD_FAILURE() << to_line(error);
    return {};
}

TEST(StarterFile, LoadsAsItIs) {
    const organ::Instrument organ = organ_from({});
    EXPECT_EQ(organ.divisions.size(), 2U);
    EXPECT_EQ(organ::pipes(organ).size(), 61U * 9U + 32U * 3U);
}

TEST(StarterFile, TakesTheStopListAsItStands) {
    StarterAnswers answers;
    answers.name = "The \"New\" \\ organ";
    answers.a = Hertz{415.3};
    answers.at = Celsius{-1.5};
    answers.temperament = "Kirnberger III";
    answers.divisions = {{"Hauptwerk",
                          54,
                          {"Bourdon 16'", "Principal 8", "Rohrflöte 8", "Salicional 8", "Celeste 8",
                           "Quinte 2 2/3", "Terz 1 3/5", "Mixtur VI", "Trompete 8", "Krummhorn 8",
                           "Vox Humana 8", "Glockenspiel", "Trompete 8", "Flûte harmonique"}}};
    const organ::Instrument organ = organ_from(answers);
    EXPECT_EQ(organ.name, answers.name);
    EXPECT_NEAR(organ.a.value(), 415.3, 1e-9);
    EXPECT_NEAR(organ.at.value(), -1.5, 1e-9);
    const auto first = [&](const char* stop) {
        return organ::pipes(organ::find_stop(organ, stop).value()).front();
    };
    EXPECT_EQ(first("Bourdon 16'").make.kind, PipeKind::stopped);
    EXPECT_EQ(first("Quinte 2 2/3").ratio, 3.0);
    EXPECT_EQ(first("Trompete 8").make.kind, PipeKind::reed_full);
    EXPECT_EQ(first("Vox Humana 8").make.kind, PipeKind::reed_short);
    EXPECT_EQ(first("Principal 8").make.kind, PipeKind::open);
    EXPECT_EQ(organ::pipes(organ::find_stop(organ, "Mixtur VI").value()).size(), 6U * 54U);
    EXPECT_TRUE(organ::find_stop(organ, "Trompete 8 (2)"));
}

// The temperament is set on the 4′, the other ranks are tuned from it: Wikipedia, "Pipe organ
// tuning". Sesquialtera II = 2 2/3 and 1 3/5: greifenberger-institut.de. Celestes usually go down
// to tenor C only: J. I. Wedgwood, Dictionary of Organ Stops (1905), p. 176.
TEST(StarterFile, FillsInBearingsReferencesAndCelestes) {
    StarterAnswers answers;
    answers.divisions = {
        {"Great", 58, {"Principal 8", "Octave 4", "Sesquialtera II", "Cornet V", "Mixture 4"}},
        {"Swell", 58, {"Salicional 8", "Voix Celeste 8", "Gemshorn 4", "Oboe 8", "Scharf"}},
        {"Echo", 49, {"Dulciana 8"}},
        {"Pedal", 30, {"Subbass 16"}}};
    const organ::Instrument organ = organ_from(answers);
    ASSERT_TRUE(organ.bearings);
    EXPECT_EQ(organ.bearings->stop, "octave-4");
    const auto from = [&](const char* name) {
        const organ::StopRef stop = organ::find_stop(organ, name).value();
        const auto& references = stop.stop->tuned_from;
        return references.empty() ? ""
                                  : references.front().division + "/" + references.front().stop;
    };
    EXPECT_EQ(from("Octave 4"), "");
    EXPECT_EQ(from("Principal 8"), "great/octave-4");
    EXPECT_EQ(from("Gemshorn 4"), "great/octave-4");
    EXPECT_EQ(from("Oboe 8"), "swell/gemshorn-4");
    EXPECT_EQ(from("Voix Celeste 8"), "swell/salicional-8");
    EXPECT_EQ(from("Dulciana 8"), "great/octave-4");
    EXPECT_EQ(from("Subbass 16"), "great/octave-4");
    const organ::Stop& celeste = *organ::find_stop(organ, "Voix Celeste 8")->stop;
    ASSERT_TRUE(celeste.celeste);
    EXPECT_EQ(celeste.first_key, 13);
    const auto rows = [&](const char* name) {
        return organ::find_stop(organ, name)->stop->composition.front().rows;
    };
    EXPECT_EQ(rows("Sesquialtera II"), (std::vector<organ::Footage>{{8, 3}, {8, 5}}));
    EXPECT_EQ(rows("Cornet V").size(), 5U);
    EXPECT_EQ(rows("Mixture 4").size(), 4U);
    EXPECT_EQ(rows("Scharf").size(), 3U);
}

TEST(StarterFile, OverwritesNothing) {
    const auto path = std::filesystem::temp_directory_path() / "rankwright-starter-test.toml";
    std::filesystem::remove(path);
    EXPECT_FALSE(write_starter_file(path, {}));
    EXPECT_TRUE(check_instrument_file(path).empty());
    const auto again = write_starter_file(path, {});
    ASSERT_TRUE(again);
    EXPECT_THAT(again->message, HasSubstr("is there already"));
    std::filesystem::remove(path);
    StarterAnswers wrong;
    wrong.temperament = "Werkmeister III";
    const auto error = write_starter_file(path, wrong);
    ASSERT_TRUE(error);
    EXPECT_THAT(error->message, HasSubstr("Werckmeister III"));
    EXPECT_FALSE(std::filesystem::exists(path));
}

}  // namespace starter_file_test
}  // namespace rankwright::storage
