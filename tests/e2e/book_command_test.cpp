// `rankwright book` as a technician uses it. The books are filled through an import, whose form is
// the documented one; Python's sqlite3 and csv modules read what is written.
#include "support/program.h"

#include <cstdlib>
#include <fstream>
#include <string>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright {
namespace book_command_test {

using ::testing::HasSubstr;
using testing::Outcome;

const std::string kVisits = R"({"format":"rankwright tuning book","version":1,"visits":[
{"visit":"11111111-0000-4000-8000-000000000001","organ":"emberlow","organ_name":"Emberlow Hall",
 "instrument_file":"emberlow.toml","started":"2025-11-20T08:00:00Z","ended":"2025-11-20T16:00:00Z",
 "entries":[
 {"serial":1,"at":"2025-11-20T09:00:00Z","kind":"reading","pipe":"great/octave-4/1/25","moment":"before",
  "pitch_hz":523.5,"target_hz":523.25,"deviation_cents":0.83,"uncertainty_cents":0.05,"heard_s":2.4,
  "settled":false},
 {"serial":2,"at":"2025-11-20T09:01:00Z","kind":"reading","pipe":"great/octave-4/1/25","moment":"after",
  "pitch_hz":523.26,"target_hz":523.25,"deviation_cents":0.03,"uncertainty_cents":0.02,"heard_s":3.1,
  "settled":true,"reference":"great/principal-8/1/25","beat_hz":0.01,"air_c":17.5},
 {"serial":3,"at":"2025-11-20T09:05:00Z","kind":"fault","pipe":"great/octave-4/1/26","fault":"dead",
  "words":"says \"pff\",\nthen nothing"}]},
{"visit":"22222222-0000-4000-8000-000000000002","organ":"emberlow","organ_name":"Emberlow Hall",
 "instrument_file":"emberlow.toml","started":"2026-11-20T08:00:00Z","ended":null,
 "entries":[
 {"serial":1,"at":"2026-11-20T09:00:00Z","kind":"reading","pipe":"great/octave-4/1/25","moment":"before",
  "pitch_hz":524.0,"target_hz":523.25,"deviation_cents":2.48,"uncertainty_cents":0.05,"heard_s":2.4,
  "settled":false}]}
]}
)";

class BookCommand : public ::testing::Test {
  protected:
    void SetUp() override {
        setenv("XDG_DATA_HOME", (folder_ / "data").c_str(), 1);
        std::ofstream(folder_ / "visits.json") << kVisits;
    }
    Outcome book(const std::string& arguments) { return testing::rankwright("book " + arguments); }
    void fill() { ASSERT_EQ(book("import " + file("visits.json")).code, 0); }
    std::string file(const std::string& name) { return "'" + (folder_ / name).string() + "'"; }

    testing::TemporaryFolder folder_;
};

TEST_F(BookCommand, WithoutABookNothingIsFound) {
    for (const char* what :
         {"organs", "visits", "readings", "history great/octave-4/1/1", "check"}) {
        const Outcome outcome = book(what);
        EXPECT_EQ(outcome.code, 1) << what;
        EXPECT_THAT(outcome.error,
                    HasSubstr((folder_ / "data/rankwright/tuning-book.sqlite").string()));
    }
    EXPECT_EQ(book("organs --book " + file("none.sqlite")).code, 2);
    EXPECT_FALSE(std::filesystem::exists(folder_ / "data/rankwright"));
}

TEST_F(BookCommand, SaysWhatIsInTheBook) {
    fill();
    const auto organs = book("organs --json").json();
    ASSERT_EQ(organs["organs"].size(), 1U);
    EXPECT_EQ(organs["organs"][0]["name"], "Emberlow Hall");
    EXPECT_EQ(organs["organs"][0]["visits"], 2);
    const auto visits = book("visits --json --organ 'Emberlow Hall'").json();
    ASSERT_EQ(visits["visits"].size(), 2U);
    EXPECT_EQ(visits["visits"][0]["ended"], "2025-11-20T16:00:00.000Z");
    EXPECT_TRUE(visits["visits"][1]["ended"].is_null());

    const auto last = book("readings --json --stop 'Great/Octave 4′'").json();
    ASSERT_EQ(last["pipes"].size(), 1U);
    EXPECT_EQ(last["pipes"][0]["before"]["deviation_cents"], 2.48);
    EXPECT_TRUE(last["pipes"][0]["after"].is_null());
    const auto then = book("readings --json --visit 1111").json();
    EXPECT_EQ(then["pipes"][0]["after"]["reference"], "great/principal-8/1/25");
    EXPECT_EQ(then["pipes"][0]["after"]["air_c"], 17.5);

    const auto history = book("history --json great/octave-4/1/25").json();
    ASSERT_EQ(history["readings"].size(), 3U);
    EXPECT_EQ(history["readings"][2]["at"], "2026-11-20T09:00:00.000Z");

    const Outcome table = book("readings --visit 11111111");
    EXPECT_THAT(table.out, HasSubstr("+0.83 ±0.05"));
    EXPECT_THAT(table.out, HasSubstr("+0.03 ±0.02"));
    EXPECT_THAT(book("history great/octave-4/1/25").out, HasSubstr("2025-11-20 09:01 UTC  after"));
    EXPECT_THAT(book("organs").out, HasSubstr("Emberlow Hall"));
    EXPECT_THAT(book("organs").out, HasSubstr("2 visits, the last on 2026-11-20"));
    EXPECT_THAT(book("export " + file("one.json") + " --visit 1111").out,
                HasSubstr("one.json: 1 visit, "));
    EXPECT_THAT(book("visits").out, HasSubstr("22222222-0000-4000-8000-000000000002"));
    EXPECT_EQ(book("check").code, 0);
}

TEST_F(BookCommand, WhatIsntThereAndWhatIsWrong) {
    fill();
    EXPECT_EQ(book("readings --stop trumpet").code, 1);
    EXPECT_EQ(book("history great/octave-4/1/60").code, 1);
    EXPECT_EQ(book("history great/octave-4").code, 2);
    const Outcome organ = book("visits --organ emberlaw");
    EXPECT_EQ(organ.code, 2);
    EXPECT_THAT(organ.error, HasSubstr("did you mean emberlow?"));
    EXPECT_EQ(book("readings --visit 9").code, 2);
    EXPECT_EQ(book("export " + file("book.txt")).code, 2);
    EXPECT_EQ(book("merge " + file("none.sqlite")).code, 2);
    EXPECT_EQ(book("import " + file("none.json")).code, 2);
    EXPECT_EQ(book("nonsense").code, 2);
    EXPECT_EQ(book("").code, 2);
}

TEST_F(BookCommand, GoesOutAndComesBackInWhole) {
    fill();
    ASSERT_EQ(book("export " + file("out.json")).code, 0);
    ASSERT_EQ(book("export " + file("out.csv") + " --organ emberlow").code, 0);
    ASSERT_EQ(book("backup " + file("copy.sqlite")).code, 0);
    EXPECT_EQ(book("backup " + file("copy.sqlite")).code, 2) << "nothing is overwritten";
    const auto in =
        book("import " + file("out.json") + " --json --book " + file("b.sqlite")).json();
    EXPECT_EQ(in["entries"], 4);
    const auto merged =
        book("merge " + file("copy.sqlite") + " --json --book " + file("b.sqlite")).json();
    EXPECT_EQ(merged["entries"], 0);
    EXPECT_EQ(book("readings --json").out, book("readings --json --book " + file("b.sqlite")).out);
    EXPECT_EQ(book("readings --json").out,
              book("readings --json --book " + file("copy.sqlite")).out);
    std::ofstream(folder_ / "read.py") << R"(
import csv, sqlite3, sys
rows = list(csv.DictReader(open(sys.argv[1], newline='', encoding='utf-8')))
assert len(rows) == 4, rows
assert [r['words'] for r in rows if r['kind'] == 'fault'] == ['says "pff",\nthen nothing']
assert [float(r['deviation_cents']) for r in rows if r['moment'] == 'after'] == [0.03]
book = sqlite3.connect(sys.argv[2])
assert book.execute('PRAGMA integrity_check').fetchall() == [('ok',)]
assert book.execute('SELECT count(*) FROM entry').fetchone() == (4,)
)";
    EXPECT_EQ(std::system(("/usr/bin/python3 " + file("read.py") + " " + file("out.csv") + " " +
                           file("copy.sqlite"))
                              .c_str()),
              0);
}

// A limit on the size of files stands for a full disk; /proc for a folder where nothing can be
// made, not even by root.
TEST_F(BookCommand, SaysWhatADiskRefuses) {
    fill();
    const Outcome full = testing::rankwright(
        "book import " + file("visits.json") + " --book " + file("small.sqlite"),
        "trap '' XFSZ; ulimit -f 16; ");
    EXPECT_EQ(full.code, 2);
    EXPECT_THAT(full.error, HasSubstr("can't be"));
    EXPECT_THAT(full.error, HasSubstr("small.sqlite"));
    EXPECT_EQ(book("import " + file("visits.json") + " --book " + file("small.sqlite")).code, 0);
    EXPECT_EQ(book("check --book " + file("small.sqlite")).code, 0);
    const Outcome nowhere =
        book("import " + file("visits.json") + " --book /proc/rankwright/b.sqlite");
    EXPECT_EQ(nowhere.code, 2);
    EXPECT_THAT(nowhere.error, HasSubstr("--book"));
}

}  // namespace book_command_test
}  // namespace rankwright
