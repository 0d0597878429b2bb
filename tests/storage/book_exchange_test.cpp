// Books that are merged, exported, imported and copied: nothing lost, nothing twice. What is in the
// files is read back by Python's sqlite3, csv and json modules, which share no code with ours.
#include "storage/book_exchange.h"

#include "storage/book_json.h"
#include "support/book_entries.h"
#include "support/failing_disk.h"
#include "support/same_entries.h"
#include "support/temporary_folder.h"

#include <algorithm>
#include <array>
#include <cstdio>
#include <cstdlib>
#include <fstream>
#include <map>
#include <set>

#include <SQLiteCpp/SQLiteCpp.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::storage {
namespace book_exchange_test {

namespace fs = std::filesystem;
using testing::BookEntries;
using testing::difference;
using ::testing::HasSubstr;
using testing::invented_visit;

struct Exchange : ::testing::Test {
    testing::TemporaryFolder folder;

    TuningBook open(const std::string& name) {
        auto book = TuningBook::open(folder / name);
        if (!book) throw std::runtime_error(book.error().message);
        return std::move(*book);
    }
    /// Some visits with entries of every kind.
    TuningBook filled(const std::string& name, std::uint64_t seed, int visits = 3) {
        TuningBook book = open(name);
        BookEntries some(seed);
        for (int i = 0; i < visits; ++i) {
            const std::string id = name + "-" + std::to_string(i);
            EXPECT_TRUE(book.begin_visit(
                invented_visit(id, i % 2 == 0 ? "emberlow" : "withy", 1'700'000'000 + 1000 * i)));
            EXPECT_TRUE(book.append(id, some.entries(1, 40)));
            if (i == 0) {
                EXPECT_TRUE(book.end_visit(id, visit::WallTime{}));
            }
        }
        return book;
    }
    std::string python(const std::string& program, const std::string& arguments) {
        const fs::path script = folder / "script.py";
        std::ofstream(script) << program;
        const std::string command = "/usr/bin/python3 '" + script.string() + "' " + arguments;
        FILE* out = popen(command.c_str(), "r");
        std::string text;
        std::array<char, 4096> part{};
        while (const std::size_t count = fread(part.data(), 1, part.size(), out))
            text.append(part.data(), count);
        EXPECT_EQ(pclose(out), 0) << command;
        return text;
    }
    std::string quoted(const std::string& name) { return "'" + (folder / name).string() + "'"; }
};

/// All that was ever kept: the entries as texts with the organ. The names of branches are left out,
/// since which of two that went on apart keeps the visit's id depends on who was first.
std::multiset<std::string> all_kept(const TuningBook& book) {
    std::multiset<std::string> all;
    SQLite::Statement row(book.database(),
                          "SELECT v.uuid, v.branch_of IS NOT NULL, o.slug FROM visit v "
                          "JOIN organ o ON o.id = v.organ");
    while (row.executeStep()) {
        const std::string id = row.getColumn(0).getString();
        std::uint64_t from = 0;
        if (row.getColumn(1).getInt() != 0) {
            SQLite::Statement first(book.database(),
                                    "SELECT first_serial FROM visit WHERE uuid = ?");
            first.bind(1, id);
            first.executeStep();
            from = static_cast<std::uint64_t>(first.getColumn(0).getInt64());
        }
        const auto entries = *book.entries(id);
        for (const visit::BookEntry& entry : entries)
            if (entry.serial >= from)
                all.insert(row.getColumn(2).getString() + to_line(entry_json(entry)));
    }
    return all;
}

/// What each pipe's history says, apart from the visits' names.
std::map<std::string, std::vector<std::string>> all_histories(const TuningBook& book) {
    std::map<std::string, std::vector<std::string>> all;
    const auto organs = *book.organs();
    for (const visit::OrganRecord& organ : organs) {
        const auto figures = *book.last_figures(organ.slug);
        for (const visit::PipeFigures& one : figures) {
            const auto history = *book.history(organ.slug, one.pipe);
            auto& texts = all[organ.slug + to_string(one.pipe)];
            for (const visit::BookedReading& reading : history)
                texts.push_back(to_line(entry_json({reading.serial, reading.at, reading.reading})));
            std::sort(texts.begin(), texts.end());
        }
    }
    return all;
}

TEST_F(Exchange, MergesWhatTheOtherHas) {
    TuningBook one = filled("one", 1);
    const TuningBook other = filled("other", 2);
    auto expected = all_kept(one);
    for (const std::string& entry : all_kept(other))
        expected.insert(entry);
    const auto moved = merge(one, other);
    ASSERT_TRUE(moved) << moved.error().message;
    EXPECT_EQ(moved->entries, 120U);
    EXPECT_EQ(all_kept(one), expected);
    EXPECT_EQ(merge(one, other)->entries, 0U) << "a second time nothing is new";
    EXPECT_EQ(all_kept(one), expected);
    EXPECT_EQ(one.visits()->size(), 6U);
    EXPECT_TRUE(one.visit("other-0")->value().ended);
    EXPECT_FALSE(one.visit("other-1")->value().ended);
    EXPECT_TRUE(faults_of(one)->empty());
}

// Random histories of copying, working apart and merging; whichever way round two books are merged,
// both hold the same, nothing is lost and nothing comes twice.
TEST_F(Exchange, MergingIsTheSameBothWaysAndTwice) {
    for (std::uint64_t seed = 1; seed <= 8; ++seed) {
        BookEntries some(seed);
        std::multiset<std::string> ever;  // every entry that was made, once
        const std::string names[] = {"a" + std::to_string(seed), "b" + std::to_string(seed),
                                     "c" + std::to_string(seed)};
        std::vector<TuningBook> books;
        for (const std::string& name : names) {
            books.push_back(open(name));
            books.back().database().exec("PRAGMA synchronous = OFF");  // it takes long otherwise
        }
        for (int step = 0; step < 25; ++step) {
            TuningBook& book = books[static_cast<std::size_t>(some.below(3))];
            if (some.below(4) == 0) {
                ASSERT_TRUE(merge(book, books[static_cast<std::size_t>(some.below(3))]));
                continue;
            }
            auto at = *book.open_visit("emberlow");
            if (!at || some.below(5) == 0) {
                at = invented_visit(new_visit_id(), "emberlow", 1'700'000'000 + step);
                ASSERT_TRUE(book.begin_visit(*at));
            }
            const auto made =
                some.entries(at->last_serial + 1, 1 + static_cast<std::size_t>(some.below(6)));
            ASSERT_EQ(book.append(at->id, made), at->id);
            for (const visit::BookEntry& entry : made)
                ever.insert("emberlow" + to_line(entry_json(entry)));
        }
        ASSERT_TRUE(merge(books[0], books[1]));
        ASSERT_TRUE(merge(books[0], books[2]));
        ASSERT_TRUE(merge(books[2], books[1]));
        ASSERT_TRUE(merge(books[2], books[0]));
        ASSERT_TRUE(merge(books[1], books[2]));
        for (TuningBook& book : books) {
            EXPECT_EQ(all_kept(book), ever) << seed;
            EXPECT_EQ(all_histories(book), all_histories(books[0])) << seed;
            for (TuningBook& other : books)
                EXPECT_EQ(merge(book, other)->entries, 0U) << seed;
            EXPECT_TRUE(faults_of(book)->empty()) << seed;
        }
    }
}

TEST_F(Exchange, MergesAllOrNothing) {
    TuningBook one = filled("one", 1);
    const TuningBook other = filled("other", 2, 20);
    const auto before = all_kept(one);
    {
        const testing::FailingDisk disk(testing::FailingDisk::Failure::full);
        const auto moved = merge(one, other);
        ASSERT_FALSE(moved);
        EXPECT_THAT(moved.error().message, HasSubstr("the disk is full"));
        EXPECT_EQ(moved.error().where->file, one.file().string());
    }
    EXPECT_EQ(all_kept(one), before);
    EXPECT_TRUE(merge(one, other));
}

TEST_F(Exchange, ImportsWhatWasExported) {
    TuningBook one = filled("one", 3);
    const auto common = *one.visit("one-1");
    BookEntries some(4);
    ASSERT_NE(one.append(common->id, some.entries(31, 20)), common->id);  // a branch as well
    const auto exported = export_json(one, folder / "book.json", {});
    ASSERT_TRUE(exported) << exported.error().message;
    TuningBook again = open("again");
    const auto imported = import_json(again, folder / "book.json");
    ASSERT_TRUE(imported) << imported.error().message;
    EXPECT_EQ(imported->entries, exported->entries);
    EXPECT_EQ(all_kept(again), all_kept(one));
    EXPECT_EQ(all_histories(again), all_histories(one));
    EXPECT_EQ(import_json(again, folder / "book.json")->entries, 0U);
    ASSERT_TRUE(export_json(again, folder / "again.json", {}));
    EXPECT_EQ(python("import json, sys\n"
                     "a, b = (json.load(open(f)) for f in sys.argv[1:])\n"
                     "print(len(a['visits']), a == b)",
                     quoted("book.json") + " " + quoted("again.json")),
              "4 True\n");
}

// JSON's objects have no order (RFC 8259, 4): another program may write them in any.
TEST_F(Exchange, ImportsInWhateverOrderTheKeysStand) {
    TuningBook one = filled("one", 3);
    ASSERT_NE(one.append("one-1", BookEntries(4).entries(31, 20)), "one-1");
    ASSERT_TRUE(export_json(one, folder / "book.json", {}));
    python(
        "import json, sys\n"
        "def turned(x):\n"
        "    if isinstance(x, dict): return {k: turned(x[k]) for k in reversed(list(x))}\n"
        "    return [turned(y) for y in x] if isinstance(x, list) else x\n"
        "book = json.load(open(sys.argv[1]))\n"
        "json.dump(turned(book), open(sys.argv[2], 'w'), indent=3)",
        quoted("book.json") + " " + quoted("turned.json"));
    TuningBook again = open("again");
    const auto imported = import_json(again, folder / "turned.json");
    ASSERT_TRUE(imported) << imported.error().message;
    EXPECT_EQ(all_kept(again), all_kept(one));
    EXPECT_EQ(all_histories(again), all_histories(one));
}

TEST_F(Exchange, ImportsOneVisitWithWhatItGoesOnFrom) {
    TuningBook one = filled("one", 3);
    const std::string branch = *one.append("one-1", BookEntries(4).entries(31, 20));
    ASSERT_TRUE(export_json(one, folder / "visit.json", {std::nullopt, branch}));
    TuningBook again = open("again");
    ASSERT_TRUE(import_json(again, folder / "visit.json"));
    EXPECT_EQ(difference(*again.entries(branch), *one.entries(branch)), "");
}

TEST_F(Exchange, TakesNothingFromAFileThatIsWrong) {
    TuningBook book = filled("one", 3);
    const auto before = all_kept(book);
    const std::string head = R"({"format":"rankwright tuning book","version":1,"visits":[)";
    const std::string visit =
        R"({"visit":"v","organ":"o","organ_name":"O","instrument_file":"","started":"2026-11-26T08:00:00Z","ended":null,"entries":[)";
    const std::string good =
        R"({"serial":1,"at":"2026-11-26T08:00:00.000Z","kind":"pitch","a_hz":440,"measured":true})";
    const std::map<std::string, std::string> files{
        {"", "JSON"},
        {"[]", "isn't an exported tuning book"},
        {head, "JSON"},
        {R"({"format":"rankwright tuning book","version":2,"visits":[]})", "newer"},
        {head + "{}]}", "\"visit\" is missing"},
        {head + "7]}", "a visit isn't an object"},
        {head + R"({"visit":"v","organ":"o","organ_name":"O","instrument_file":"",)" +
             R"("started":"2026-11-26T08:00:00Z","ended":null}]})",
         "no list of entries"},
        {head + visit + "7]}]}", "an entry isn't an object"},
        {head + visit + good + ",{}]}]}", "\"serial\" is missing"},
        {head + visit + good + R"(,{"serial":2,"at":"today","kind":"pitch"}]}]})", "\"at\" isn't"},
        {head + visit + R"({"serial":1,"at":"2026-11-26T08:00:00.000Z","kind":"song"}]}]})",
         "\"song\" isn't known"},
        {head + visit +
             R"({"serial":1,"at":"2026-11-26T08:00:00.000Z","kind":"reach","pipe":"x","out_of_reach":true}]}]})",
         "\"pipe\" isn't"},
        {head + visit +
             R"({"serial":-1,"at":"2026-11-26T08:00:00.000Z","kind":"pitch","a_hz":1,"measured":true}]}]})",
         "\"serial\" isn't"}};
    for (const auto& [text, said] : files) {
        std::ofstream(folder / "wrong.json") << text;
        const auto imported = import_json(book, folder / "wrong.json");
        ASSERT_FALSE(imported) << text;
        EXPECT_EQ(imported.error().kind, ErrorKind::bad_input);
        EXPECT_THAT(imported.error().message, HasSubstr(said)) << text;
        EXPECT_THAT(imported.error().message, HasSubstr("nothing was taken in"));
        EXPECT_EQ(imported.error().where->file, (folder / "wrong.json").string());
        EXPECT_EQ(all_kept(book), before);
    }
    std::ofstream(folder / "right.json") << head << visit << good << "]}]}";
    EXPECT_EQ(import_json(book, folder / "right.json")->entries, 1U);
    EXPECT_EQ(import_json(book, folder / "none.json").error().kind, ErrorKind::not_found);
}

// The same rows by Python's csv module from the CSV and by its sqlite3 module from the database.
TEST_F(Exchange, CsvIsReadAlikeByAnotherProgram) {
    const TuningBook book = filled("one", 5, 6);
    const auto exported = export_csv(book, folder / "book.csv", {});
    ASSERT_TRUE(exported);
    EXPECT_EQ(exported->entries, 240U);
    const std::string program = R"(
import csv, sqlite3, sys
rows = list(csv.DictReader(open(sys.argv[1], newline='', encoding='utf-8')))
book = sqlite3.connect(sys.argv[2])
number = lambda x: '' if x is None else float(x)
read = lambda x: '' if x == '' else float(x)
in_csv = sorted((r['visit'], int(r['serial']), r['pipe'], r['moment'], read(r['pitch_hz']),
                 read(r['deviation_cents']), read(r['beat_hz']), read(r['air_c']),
                 r['reference'], r['settled'], r['withdrawn']) for r in rows if r['kind'] == 'reading')
in_book = sorted((v, s, p, ('survey', 'before', 'after')[m], number(f), number(d), number(b),
                  number(t), q or '', ('false', 'true')[g], ('false', 'true')[w])
                 for v, s, p, m, f, d, b, t, q, g, w in book.execute('''
    SELECT v.uuid, r.serial, p.division || '/' || p.stop || '/' || p.row || '/' || p.key, r.moment,
           r.pitch_hz, r.deviation_cents, r.beat_hz, r.air_c,
           q.division || '/' || q.stop || '/' || q.row || '/' || q.key, r.settled,
           EXISTS (SELECT 1 FROM withdrawal w WHERE w.of_visit = r.visit AND w.of_serial = r.serial
                   AND NOT EXISTS (SELECT 1 FROM withdrawal x WHERE x.of_visit = w.visit
                                   AND x.of_serial = w.serial))
    FROM reading r JOIN visit v ON v.id = r.visit JOIN pipe p ON p.id = r.pipe
    LEFT JOIN pipe q ON q.id = r.reference'''))
words = sorted((r['visit'], int(r['serial']), r['fault'], r['words']) for r in rows if r['kind'] == 'fault')
book_words = sorted(book.execute('''SELECT v.uuid, f.serial, f.fault, f.words FROM fault f
    JOIN visit v ON v.id = f.visit'''))
print(len(rows), len(in_csv) > 50, in_csv == in_book, len(words) > 3, words == book_words)
)";
    EXPECT_EQ(python(program, quoted("book.csv") + " " + quoted("one")),
              "240 True True True True\n");
    std::ifstream in(folder / "book.csv", std::ios::binary);
    std::string first;
    std::getline(in, first);
    EXPECT_TRUE(first.ends_with("\r")) << "RFC 4180, 2.1: lines end with CR LF";
}

TEST_F(Exchange, ExportsOneOrganOrVisit) {
    const TuningBook book = filled("one", 6);
    EXPECT_EQ(export_csv(book, folder / "some.csv", {"withy", std::nullopt})->entries, 40U);
    EXPECT_EQ(export_csv(book, folder / "some.csv", {"emberlow", std::nullopt})->entries, 80U);
    EXPECT_EQ(export_csv(book, folder / "some.csv", {std::nullopt, "one-2"})->entries, 40U);
    EXPECT_FALSE(export_csv(book, folder / "no/folder.csv", {}));
    EXPECT_EQ(export_csv(book, "/dev/full/x.csv", {}).error().kind, ErrorKind::storage);
}

TEST_F(Exchange, CopiesTheBookWhileItIsInUse) {
    TuningBook book = filled("one", 7);
    TuningBook writing = open("one");
    ASSERT_TRUE(writing.append("one-1", BookEntries(8).entries(41, 5)));
    ASSERT_TRUE(backup(book, folder / "copy"));
    ASSERT_TRUE(writing.append("one-1", BookEntries(9).entries(46, 5)));
    const auto copy = TuningBook::open_existing(folder / "copy");
    ASSERT_TRUE(copy);
    EXPECT_EQ(copy->visit("one-1")->value().last_serial, 45U);
    EXPECT_TRUE(faults_of(*copy)->empty());
    EXPECT_FALSE(fs::exists(folder / "copy.part"));
    const auto again = backup(book, folder / "copy");
    ASSERT_FALSE(again);
    EXPECT_THAT(again.error().message, HasSubstr("nothing is overwritten"));
    EXPECT_EQ(python("import sqlite3, sys\n"
                     "print(*sqlite3.connect(sys.argv[1]).execute('PRAGMA integrity_check'))",
                     quoted("copy")),
              "('ok',)\n");
}

TEST_F(Exchange, FindsWhatIsWrongWithABook) {
    TuningBook book = filled("one", 8);
    EXPECT_TRUE(faults_of(book)->empty());
    book.database().exec("PRAGMA foreign_keys = OFF");
    book.database().exec("DELETE FROM entry WHERE serial = 7");
    const auto faults = *faults_of(book);
    EXPECT_THAT(faults, ::testing::Contains(HasSubstr("refer to others that aren't there")));
    EXPECT_THAT(faults, ::testing::Contains(HasSubstr("1 of its 40 entries are missing")));
    EXPECT_THAT(faults, ::testing::Contains(HasSubstr("entries that say nothing")));
}

}  // namespace book_exchange_test
}  // namespace rankwright::storage
