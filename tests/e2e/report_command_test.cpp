// `rankwright report` as a user runs it, on a book that the test writes.
#include "storage/instrument_file.h"
#include "storage/tuning_book.h"
#include "support/program.h"
#include "support/two_visits.h"

#include <cmath>
#include <filesystem>
#include <fstream>
#include <iterator>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::testing {
namespace report_command_test {

namespace fs = std::filesystem;
using ::testing::HasSubstr;

struct ReportCommand : ::testing::Test {
    TemporaryFolder folder;
    std::string organ_file = std::string(RANKWRIGHT_INSTRUMENTS) + "/emberlow.toml";
    organ::Instrument instrument = *storage::load_instrument(organ_file);
    TwoVisits visits{instrument, 18.0, 22.0};
    std::string book = (folder / "book.sqlite").string();
    std::string page = (folder / "page.html").string();
    std::string here = "cd '" + (folder / "").string() + "' && TZ=UTC ";

    /// A flue rank that stayed but for one pipe, and a reed rank that stayed.
    void write_book() {
        visits.first.record.instrument_file = visits.second.record.instrument_file = organ_file;
        visits.measure_pitch();
        visits.read_thermometers();
        for (const char* stop : {"Principal 8'", "Trumpet 8'"})
            for (const organ::Pipe& pipe : organ::pipes(*organ::find_stop(instrument, stop)))
                visits.tune(pipe, 0.1, pipe.key == 30 && stop[0] == 'P' ? 6.0 : 0.0, 0.1);
        auto out = storage::TuningBook::open(book);
        ASSERT_TRUE(out);
        for (const InventedVisit* visit : {&visits.first, &visits.second}) {
            ASSERT_TRUE(out->begin_visit(visit->record));
            ASSERT_TRUE(out->append(visit->record.id, visit->entries));
        }
    }
    static std::string contents(const fs::path& file) {
        std::ifstream in(file);
        return {std::istreambuf_iterator<char>(in), {}};
    }
};

TEST_F(ReportCommand, WritesThePageOfTheLatestVisit) {
    write_book();
    const Outcome outcome = rankwright("report --book '" + book + "'", here);
    ASSERT_EQ(outcome.code, 0) << outcome.error;
    EXPECT_EQ(outcome.out, "the-emberlow-organ-2026-11-26.html\n");
    const std::string html = contents(folder / "the-emberlow-organ-2026-11-26.html");
    for (const char* wanted : {"<!DOCTYPE html>", "The Emberlow Organ", "2026-11-26", "<svg",
                               "Since the last visit (2026-05-02)", "</html>"})
        EXPECT_THAT(html, HasSubstr(wanted));
    EXPECT_EQ(rankwright("report --book '" + book + "' --visit 1111 -o '" + page + "'").code, 0);
    EXPECT_THAT(contents(page), HasSubstr("tuning report of 2026-05-02"));
    EXPECT_THAT(rankwright("report -o - --organ 'the emberlow organ' --book '" + book + "'").out,
                HasSubstr("</html>"));
}

TEST_F(ReportCommand, VisitsOfOneDayHavePagesOfTheirOwn) {
    visits.second.record.started = visits.first.record.started + std::chrono::hours{3};
    write_book();
    const std::string of = "report --book '" + book + "' --visit ";
    EXPECT_EQ(rankwright(of + "1111", here).out, "the-emberlow-organ-2026-05-02.html\n");
    EXPECT_EQ(rankwright(of + "2222", here).out, "the-emberlow-organ-2026-05-02-2.html\n");
    EXPECT_EQ(rankwright(of + "1111", here).out, "the-emberlow-organ-2026-05-02.html\n");
}

// The flues rose by 11.8 cents from 18 to 22 °C (ISO 9613-1), reeds by 0.15 of that; nothing else
// moved but one pipe.
TEST_F(ReportCommand, TellsTheSameAsJsonWithTheAirTakenOut) {
    write_book();
    const Outcome outcome = rankwright("report --json --book '" + book + "'");
    ASSERT_EQ(outcome.code, 0) << outcome.error;
    const auto json = outcome.json();
    EXPECT_EQ(json["visit"], visits.second.record.id);
    EXPECT_EQ(json["organ"], "The Emberlow Organ");
    ASSERT_EQ(json["ranks"].size(), 2U);
    EXPECT_NEAR(flue_rise(18.0, 22.0), 11.81, 0.01);
    for (const auto& rank : json["ranks"]) {
        const bool reed = rank["rank"] == "Great · Trumpet 8'";
        EXPECT_NEAR(rank["drift"]["trend_cents"].get<double>(), 0.0, 1e-6);
        const auto& first = rank["drift"]["pipes"][0];
        EXPECT_NEAR(first["heard_cents"].get<double>(), (reed ? 0.15 : 1.0) * 11.81, 0.01);
        EXPECT_EQ(rank["tuned"], 61);
        for (const auto& pipe : rank["drift"]["pipes"])
            EXPECT_EQ(pipe["astray"].get<bool>(), pipe["id"] == "great/principal-8/1/30");
        EXPECT_NEAR(rank["pipes"][0]["before_cents"].get<double>(), reed ? 0.1 - 0.85 * 11.81 : 0.1,
                    0.01);
    }
    EXPECT_THAT(json["advice"].dump(), HasSubstr("middle F"));
}

TEST_F(ReportCommand, ErrorsTellWhatToDo) {
    const Outcome none = rankwright("report --book '" + book + "'");
    EXPECT_EQ(none.code, 2);
    EXPECT_THAT(none.error, HasSubstr("--book"));
    ASSERT_TRUE(storage::TuningBook::open(book));
    const Outcome empty = rankwright("report --book '" + book + "'");
    EXPECT_EQ(empty.code, 1);
    EXPECT_THAT(empty.error, HasSubstr("rankwright chamber"));
    write_book();
    const Outcome organ = rankwright("report --organ 'The Emberlov Organ' --book '" + book + "'");
    EXPECT_EQ(organ.code, 2);
    EXPECT_THAT(organ.error, HasSubstr("did you mean \"The Emberlow Organ\""));
    const Outcome visit = rankwright("report --visit 9 --book '" + book + "'");
    EXPECT_EQ(visit.code, 2);
    EXPECT_THAT(visit.error, HasSubstr(visits.second.record.id));
    const Outcome place = rankwright("report -o /nowhere/x.html --book '" + book + "'");
    EXPECT_EQ(place.code, 2);
    EXPECT_THAT(place.error, HasSubstr("/nowhere/x.html"));
    const Outcome file = rankwright("report --instrument nothere.toml --book '" + book + "'");
    EXPECT_EQ(file.code, 2);
    EXPECT_THAT(file.error, HasSubstr("nothere.toml"));
}

TEST_F(ReportCommand, DoesWithoutTheInstrumentFileAndSaysSo) {
    organ_file = "/gone/emberlow.toml";
    write_book();
    const Outcome outcome = rankwright("report --book '" + book + "' -o '" + page + "'");
    EXPECT_EQ(outcome.code, 0);
    EXPECT_THAT(outcome.error, HasSubstr("--instrument ORGAN.toml"));
    EXPECT_THAT(contents(page), HasSubstr("great · principal-8"));
    EXPECT_THAT(contents(page), HasSubstr("made without the organ’s instrument file"));
}

// The flues rose by 11.8 cents (ISO 9613-1), the reeds by 0.15 of that, as the file said then.
TEST_F(ReportCommand, RemembersWhatTheInstrumentFileSaid) {
    visits.second.record.instrument =
        visit::KeptInstrument{contents(organ_file), visits.second.record.started};
    organ_file = "/gone/emberlow.toml";
    write_book();
    const Outcome outcome = rankwright("report --book '" + book + "' -o '" + page + "'");
    EXPECT_EQ(outcome.code, 0);
    EXPECT_THAT(outcome.error, HasSubstr("taken from the book"));
    EXPECT_THAT(contents(page), HasSubstr("Great · Principal 8"));
    const auto json = rankwright("report --json --book '" + book + "'").json();
    EXPECT_EQ(json["instrument_known"], true);
    for (const auto& rank : json["ranks"])
        EXPECT_NEAR(rank["drift"]["trend_cents"].get<double>(), 0.0, 1e-6) << rank["rank"];
    // It goes along when the book is merged into another.
    const std::string other = (folder / "other.sqlite").string();
    EXPECT_EQ(rankwright("book merge '" + book + "' --book '" + other + "'").code, 0);
    EXPECT_EQ(rankwright("report --json --book '" + other + "'").json()["instrument_known"], true);
}

}  // namespace report_command_test
}  // namespace rankwright::testing
