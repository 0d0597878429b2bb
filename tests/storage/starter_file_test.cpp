#include "storage/starter_file.h"

#include "organ/target.h"
#include "storage/examples.h"
#include "storage/instrument_file.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::storage {
namespace {

using organ::PipeKind;
using testing::HasSubstr;

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

}  // namespace
}  // namespace rankwright::storage
