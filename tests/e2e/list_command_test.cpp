// `rankwright list` and `rankwright calls` as a technician runs them.
#include "storage/instrument_file.h"
#include "storage/tuning_book.h"
#include "support/program.h"
#include "support/two_visits.h"

#include <fstream>
#include <iterator>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::testing {
namespace list_command_test {

using ::testing::HasSubstr;

struct ListCommand : ::testing::Test {
    TemporaryFolder folder;
    std::string organ_file = std::string(RANKWRIGHT_INSTRUMENTS) + "/emberlow.toml";
    std::string book = (folder / "book.sqlite").string();

    Outcome list(const std::string& more) {
        return rankwright("list '" + organ_file + "' --book '" + book + "' " + more);
    }
    Outcome calls(const std::string& more) {
        return rankwright("calls '" + organ_file + "' --book '" + book + "' " + more);
    }
    std::vector<std::string> to_do() {
        std::vector<std::string> ids;
        const auto json = list("--json --order feet").json();
        for (const auto& pipe : json["pipes"])
            if (pipe["to_do"]) ids.push_back(pipe["pipe"]);
        return ids;
    }
};

TEST_F(ListCommand, IsEditedAndShownAndKept) {
    EXPECT_EQ(list("").code, 1) << "nothing yet: understood, but nothing found";
    EXPECT_THAT(list("").error, HasSubstr("--want"));
    EXPECT_THAT(list("").error, HasSubstr("there is no book " + book)) << "perhaps mistyped";
    EXPECT_THAT(calls("").error, HasSubstr("there is no book " + book));
    const Outcome edited = list(
        "--want \"Great/Octave 4'/25\" --want \"Principal 8'/tenor C\" --want "
        "great/trumpet-8/1/13 --out-of-reach \"Great/Bourdon 16'/1\" --complaint \"growls in "
        "the Psalm\" --stop \"Gamba 8'\" --key 'middle G'");
    ASSERT_EQ(edited.code, 0) << edited.error;
    for (const char* wanted : {"The Emberlow Organ: 4 to do, 0 done", "middle C (25)",
                               "added by hand", "complaint: growls in the Psalm", "out of reach"})
        EXPECT_THAT(edited.out, HasSubstr(wanted));
    EXPECT_EQ(to_do(), (std::vector<std::string>{"great/octave-4/1/25", "great/principal-8/1/13",
                                                 "great/gamba-8/1/32", "great/trumpet-8/1/13"}))
        << "references first, reeds last";
    EXPECT_EQ(
        list("--drop \"Great/Octave 4'/middle C\" --within-reach \"Great/Bourdon 16'/1\"").code, 0);
    EXPECT_EQ(to_do().size(), 3U);
    const auto json = list("--json").json();
    EXPECT_EQ(json["pipes"][0]["pipe"], "great/gamba-8/1/32") << "the client's comes first";
    EXPECT_EQ(json["to_do"], 3);
    EXPECT_EQ(rankwright("book visits --json --book '" + book + "'").json()["visits"].size(), 1U)
        << "all in one visit, which the window goes on with";
}

TEST_F(ListCommand, AMixturesKeyIsAllItsRows) {
    ASSERT_EQ(list("--want \"Great/Mixture III/30\"").code, 0);
    EXPECT_EQ(to_do().size(), 3U);
    EXPECT_EQ(calls("--json").json()["calls"].size(), 1U);
}

TEST_F(ListCommand, BadNamesGetTheNearestAndWhatToDo) {
    const auto error = [&](const std::string& arguments) {
        const Outcome outcome = list(arguments);
        EXPECT_EQ(outcome.code, 2) << arguments;
        return outcome.error;
    };
    EXPECT_THAT(error("--drop \"Great/Octve 4'/25\""),
                HasSubstr("Did you mean \"Great/Octave 4'\""));
    EXPECT_THAT(error("--drop \"Great/Octave 4'/midle C\""),
                HasSubstr("did you mean \"middle C\""));
    EXPECT_THAT(error("--want \"Great/Octave 4'/99\""), HasSubstr("from 1 (CC) to 61"));
    EXPECT_THAT(error("--want great/octave-4/1/99"), HasSubstr("did you mean great/octave-4/1/"));
    EXPECT_THAT(error("--want Octave"), HasSubstr("Stop/KEY"));
    EXPECT_THAT(error("--key 3"), HasSubstr("--complaint"));
    EXPECT_THAT(error("--complaint x --key 3"), HasSubstr("--stop"));
    EXPECT_EQ(list("").code, 1) << "nothing of a bad request is noted";
}

TEST_F(ListCommand, ProposesWhatMovedBetweenTheLastVisits) {
    const organ::Instrument instrument = *storage::load_instrument(organ_file);
    TwoVisits visits{instrument, 18.0, 22.0};
    visits.measure_pitch();
    for (const organ::Pipe& pipe : organ::pipes(*organ::find_stop(instrument, "Principal 8'")))
        visits.tune(pipe, 0.1, pipe.key == 30 ? 6.0 : 0.0, 0.1);
    visits.second.record.ended = visits.second.at;
    visits.first.record.ended = visits.first.at;
    auto out = storage::TuningBook::open(book);
    ASSERT_TRUE(out);
    for (const InventedVisit* visit : {&visits.first, &visits.second}) {
        ASSERT_TRUE(out->begin_visit(visit->record));
        ASSERT_TRUE(out->append(visit->record.id, visit->entries));
        ASSERT_TRUE(out->end_visit(visit->record.id, visit->at));
    }
    const Outcome shown = list("");
    ASSERT_EQ(shown.code, 0) << shown.error;
    EXPECT_THAT(shown.out,
                HasSubstr("moved 6.0 cents sharper between May 2026 and the last visit"));
    EXPECT_EQ(to_do(), std::vector<std::string>{"great/principal-8/1/30"});
}

TEST_F(ListCommand, CallsAreWrittenForTheHelper) {
    EXPECT_EQ(calls("").code, 1);
    ASSERT_EQ(list("--want \"Great/Octave 4'/25\" --want \"Clarion 4'/25\"").code, 0);
    EXPECT_EQ(calls("").out,
              "Great: draw Octave 4'\n    1  middle C, key 25\n\nGreat: draw Clarion 4'\n    2  "
              "middle C, key 25 and hold tenor C, key 13\n");
    const auto json = calls("--json").json();
    ASSERT_EQ(json["calls"].size(), 2U);
    EXPECT_EQ(json["calls"][1]["also"]["key"], 13);
    EXPECT_EQ(json["calls"][0]["also"], nullptr);
    const std::string page = (folder / "calls.html").string();
    const Outcome written = calls("-o '" + page + "'");
    EXPECT_EQ(written.out, page + "\n");
    std::ifstream in(page);
    EXPECT_THAT(std::string(std::istreambuf_iterator<char>(in), {}), HasSubstr("middle C"));
    // A whole stop needs no book: 61 pipes, one call each.
    EXPECT_EQ(calls("--json --stop \"Great/Octave 4'\"").json()["calls"].size(), 61U);
    EXPECT_EQ(calls("--stop Octav").code, 2);
    EXPECT_EQ(calls("-o /nowhere/x.html").code, 2);
}

}  // namespace list_command_test
}  // namespace rankwright::testing
