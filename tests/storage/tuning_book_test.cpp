// The tuning book: what goes in comes out, on whatever disk. The outside authority is SQLite's own
// integrity check and plain SQL through its C interface, beside the book's.
#include "storage/tuning_book.h"

#include "storage/book_schema.h"
#include "support/book_entries.h"
#include "support/failing_disk.h"
#include "support/same_entries.h"
#include "support/temporary_folder.h"

#include <fstream>
#include <iterator>

#include <SQLiteCpp/SQLiteCpp.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::storage {
namespace tuning_book_test {

namespace fs = std::filesystem;
using testing::BookEntries;
using testing::difference;
using testing::FailingDisk;
using ::testing::HasSubstr;
using testing::invented_visit;

const std::string kVisit = "00000000-0000-4000-8000-000000000001";

std::string sql(const fs::path& book, const std::string& query) {
    SQLite::Database database(book.string());
    return database.execAndGet(query).getString();
}

std::string contents(const fs::path& file) {
    std::ifstream in(file, std::ios::binary);
    return {std::istreambuf_iterator<char>(in), {}};
}

struct Book : ::testing::Test {
    testing::TemporaryFolder folder;
    fs::path file = folder / "shop/tuning-book.sqlite";
    BookEntries some{2026};

    TuningBook open() {
        auto book = TuningBook::open(file);
        if (!book) throw std::runtime_error(book.error().message);
        return std::move(*book);
    }
    TuningBook begun() {
        TuningBook book = open();
        EXPECT_TRUE(book.begin_visit(invented_visit(kVisit)));
        return book;
    }
    static visit::BookEntry reading(std::uint64_t serial, const PipeId& pipe, visit::Moment moment,
                                    double deviation) {
        visit::KeptReading one;
        one.pipe = pipe;
        one.moment = moment;
        one.pitch = Hertz{440.0};
        one.target = Hertz{440.0};
        one.deviation = Cents{deviation};
        return {serial, visit::WallTime{std::chrono::seconds{1'790'000'000 + serial}}, one};
    }
};

TEST_F(Book, WhatGoesInComesOutToTheLastDigit) {
    const auto entries = some.entries(1, 3000);
    ASSERT_EQ(begun().append(kVisit, entries), kVisit);
    const TuningBook book = open();
    EXPECT_EQ(difference(*book.entries(kVisit), entries), "");
    EXPECT_EQ(book.visit(kVisit)->value().last_serial, 3000U);
    EXPECT_EQ(sql(file, "PRAGMA integrity_check"), "ok");
    EXPECT_EQ(sql(file, "SELECT count(*) FROM pragma_foreign_key_check"), "0");
    EXPECT_EQ(sql(file, "SELECT count(*) FROM entry"), "3000");
}

// What the issue asks of the database itself, read from the file by SQLite.
TEST_F(Book, IsWrittenAheadAndSynchronous) {
    TuningBook book = begun();
    EXPECT_EQ(book.database().execAndGet("PRAGMA synchronous").getInt(), 2) << "FULL";
    EXPECT_EQ(book.database().execAndGet("PRAGMA foreign_keys").getInt(), 1);
    EXPECT_EQ(sql(file, "PRAGMA journal_mode"), "wal");
}

TEST_F(Book, TakesAnEntryOnce) {
    TuningBook book = begun();
    const auto entries = some.entries(1, 50);
    const std::span all(entries);
    EXPECT_EQ(book.append(kVisit, all.first(30)), kVisit);
    EXPECT_EQ(book.append(kVisit, all), kVisit);
    EXPECT_EQ(book.append(kVisit, all), kVisit);
    EXPECT_EQ(difference(*book.entries(kVisit), entries), "");
    EXPECT_EQ(book.visits()->size(), 1U);
}

TEST_F(Book, KeepsBothWhenAVisitWentOnApart) {
    TuningBook book = begun();
    const auto common = some.entries(1, 10);
    const auto here = some.entries(11, 5);
    const auto there = some.entries(11, 7);
    ASSERT_EQ(book.append(kVisit, common), kVisit);
    ASSERT_EQ(book.append(kVisit, here), kVisit);
    const std::string branch = *book.append(kVisit, there);
    EXPECT_NE(branch, kVisit);
    auto expected = common;
    expected.insert(expected.end(), there.begin(), there.end());
    EXPECT_EQ(difference(*book.entries(branch), expected), "");
    EXPECT_EQ(book.visit(branch)->value().branch_of, kVisit);
    EXPECT_EQ(book.visit(kVisit)->value().last_serial, 15U);
    EXPECT_EQ(book.visit(branch)->value().last_serial, 17U);
    EXPECT_EQ(*book.append(kVisit, there), branch) << "a second time nothing is added";
    EXPECT_EQ(sql(file, "SELECT count(*) FROM entry"), "22");
}

TEST_F(Book, NamesTheVisitToResume) {
    TuningBook book = open();
    EXPECT_FALSE(book.open_visit("emberlow")->has_value());
    ASSERT_TRUE(book.begin_visit(invented_visit("a", "emberlow", 1000)));
    ASSERT_TRUE(book.begin_visit(invented_visit("b", "emberlow", 3000)));
    ASSERT_TRUE(book.begin_visit(invented_visit("c", "emberlow", 2000)));
    ASSERT_TRUE(book.begin_visit(invented_visit("d", "withy", 4000)));
    EXPECT_EQ(book.open_visit("emberlow")->value().id, "b");
    ASSERT_TRUE(book.end_visit("b", visit::WallTime{std::chrono::seconds{3500}}));
    EXPECT_EQ(book.open_visit("emberlow")->value().id, "c");
    ASSERT_TRUE(book.append("c", some.entries(1, 4)));
    EXPECT_EQ(book.open_visit("emberlow")->value().last_serial, 4U);
    ASSERT_EQ(book.organs()->size(), 2U);
    EXPECT_EQ(book.organs()->at(0).slug, "emberlow");
    EXPECT_EQ(book.organs()->at(0).visits, 3U);
    EXPECT_EQ(book.visits("emberlow")->size(), 3U);
    EXPECT_EQ(book.visits("nowhere")->size(), 0U);
}

TEST_F(Book, LeavesOutWhatWasWithdrawn) {
    TuningBook book = begun();
    const PipeId pipe{"great", "octave-4", 1, 25};
    using visit::Moment;
    ASSERT_TRUE(book.append(kVisit, std::vector{reading(1, pipe, Moment::before, 5.0),
                                                reading(2, pipe, Moment::after, 0.2),
                                                visit::BookEntry{3, {}, visit::Withdrawal{2}},
                                                reading(4, pipe, Moment::after, 0.1)}));
    const auto deviations = [&] {
        std::vector<double> all;
        const auto history = *book.history("emberlow", pipe);
        for (const visit::BookedReading& one : history)
            all.push_back(one.reading.deviation.value());
        return all;
    };
    EXPECT_EQ(deviations(), (std::vector{5.0, 0.1}));
    EXPECT_EQ(book.readings(kVisit)->size(), 2U);
    EXPECT_EQ(book.entries(kVisit)->size(), 4U) << "it stays in the book";
    ASSERT_TRUE(book.append(kVisit, std::vector{visit::BookEntry{5, {}, visit::Withdrawal{3}}}));
    EXPECT_EQ(deviations(), (std::vector{5.0, 0.2, 0.1})) << "the withdrawal was withdrawn";
}

TEST_F(Book, TellsWhatTheLastVisitFoundAtEachPipe) {
    TuningBook book = open();
    const PipeId first{"great", "octave-4", 1, 1}, second{"great", "octave-4", 1, 2};
    using visit::Moment;
    ASSERT_TRUE(book.begin_visit(invented_visit("old", "emberlow", 1000)));
    ASSERT_TRUE(book.begin_visit(invented_visit("new", "emberlow", 2000)));
    ASSERT_TRUE(book.append("old", std::vector{reading(1, first, Moment::before, 1.0),
                                               reading(2, second, Moment::before, 2.0),
                                               reading(3, second, Moment::after, 0.0)}));
    ASSERT_TRUE(book.append(
        "new",
        std::vector{reading(1, first, Moment::before, 3.0), reading(2, first, Moment::before, 9.0),
                    reading(3, first, Moment::after, 4.0), reading(4, first, Moment::after, 5.0)}));
    const auto last = *book.last_figures("emberlow");
    ASSERT_EQ(last.size(), 2U);
    EXPECT_EQ(last[0].visit, "new");
    EXPECT_EQ(last[0].before->reading.deviation, Cents{3.0}) << "as it was found";
    EXPECT_EQ(last[0].after->reading.deviation, Cents{5.0}) << "as it was left";
    EXPECT_EQ(last[1].visit, "old");
    EXPECT_EQ(last[1].after->reading.deviation, Cents{0.0});
    const auto before = *book.last_figures("emberlow", "new");
    EXPECT_EQ(before[0].before->reading.deviation, Cents{1.0});
    EXPECT_EQ(book.figures("new")->size(), 1U);
}

TEST_F(Book, SaysThatTheDiskIsFullAndLosesNothing) {
    TuningBook book = begun();
    const auto entries = some.entries(1, 2000);
    const std::span all(entries);
    ASSERT_TRUE(book.append(kVisit, all.first(1000)));
    {
        const FailingDisk disk(FailingDisk::Failure::full);
        const auto failed = book.append(kVisit, all.subspan(1000));
        ASSERT_FALSE(failed);
        EXPECT_EQ(failed.error().kind, ErrorKind::storage);
        EXPECT_THAT(failed.error().message, HasSubstr("the disk is full"));
    }
    EXPECT_EQ(difference(*book.entries(kVisit), {entries.begin(), entries.begin() + 1000}), "");
    EXPECT_EQ(book.append(kVisit, all), kVisit);
    EXPECT_EQ(difference(*book.entries(kVisit), entries), "");
    EXPECT_EQ(sql(file, "PRAGMA integrity_check"), "ok");
}

TEST_F(Book, SaysThatTheDiskFails) {
    TuningBook book = begun();
    const FailingDisk disk(FailingDisk::Failure::broken);
    const auto failed = book.append(kVisit, some.entries(1, 10));
    ASSERT_FALSE(failed);
    EXPECT_THAT(failed.error().message, HasSubstr("the disk fails"));
}

TEST_F(Book, ReadsWhereItCantWrite) {
    const auto entries = some.entries(1, 20);
    ASSERT_TRUE(begun().append(kVisit, entries));
    const FailingDisk disk(FailingDisk::Failure::read_only);
    const auto to_write = TuningBook::open(file);
    ASSERT_FALSE(to_write);
    EXPECT_THAT(to_write.error().message, HasSubstr("can be written"));
    EXPECT_EQ(to_write.error().where->file, file.string());
    const auto to_read = TuningBook::open_existing(file);
    ASSERT_TRUE(to_read) << to_read.error().message;
    EXPECT_EQ(difference(*to_read->entries(kVisit), entries), "");
    EXPECT_FALSE(TuningBook::open(folder / "other.sqlite"));
}

// Not even root can make files there.
TEST_F(Book, SaysThatItsFolderCantBeMade) {
    const auto book = TuningBook::open("/proc/rankwright/tuning-book.sqlite");
    ASSERT_FALSE(book);
    EXPECT_EQ(book.error().kind, ErrorKind::storage);
    EXPECT_THAT(book.error().message, HasSubstr("--book"));
}

TEST_F(Book, SaysThatAnotherProgramHoldsIt) {
    TuningBook book = begun();
    SQLite::Database other(file.string(), SQLite::OPEN_READWRITE);
    other.exec("BEGIN EXCLUSIVE");
    const auto failed = book.append(kVisit, some.entries(1, 1));
    ASSERT_FALSE(failed);
    EXPECT_THAT(failed.error().message, HasSubstr("held by another program"));
    EXPECT_TRUE(book.entries(kVisit)) << "what is there can be read meanwhile";
    other.exec("COMMIT");
    EXPECT_TRUE(book.append(kVisit, some.entries(1, 1)));
}

TEST_F(Book, LeavesWhatIsNoBookAlone) {
    EXPECT_EQ(TuningBook::open_existing(folder / "none").error().kind, ErrorKind::not_found);
    const fs::path text = folder / "notes.txt";
    std::ofstream(text) << std::string(5000, 'n');
    const fs::path strange = folder / "strange.sqlite";
    SQLite::Database(strange.string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE)
        .exec("CREATE TABLE organ(id INTEGER)");
    for (const fs::path& one : {text, strange}) {
        const std::string before = contents(one);
        const auto book = TuningBook::open(one);
        ASSERT_FALSE(book) << one;
        EXPECT_EQ(book.error().kind, ErrorKind::bad_input);
        EXPECT_THAT(book.error().message, HasSubstr("nothing was changed"));
        EXPECT_EQ(contents(one), before) << one;
    }
}

TEST_F(Book, SaysThatItIsDamaged) {
    ASSERT_TRUE(begun().append(kVisit, some.entries(1, 3000)));
    {
        std::fstream disk(file, std::ios::in | std::ios::out | std::ios::binary);
        for (int page = 2; page < 40; ++page) {  // 4096 bytes each, the first holds the layout
            disk.seekp(page * 4096);
            disk << std::string(4096, '\x7F');
        }
    }
    const auto book = TuningBook::open(file);
    const auto entries = book ? book->entries(kVisit) : tl::unexpected<Error>(book.error());
    ASSERT_FALSE(entries);
    EXPECT_THAT(entries.error().message, HasSubstr("is damaged"));
    EXPECT_THAT(entries.error().message, HasSubstr("backup"));
}

TEST_F(Book, ANewerBookIsRefusedAndLeftAlone) {
    begun();
    {
        SQLite::Database database(file.string(), SQLite::OPEN_READWRITE);
        database.exec("PRAGMA user_version = 99");
        database.execAndGet("PRAGMA journal_mode = DELETE");  // all of it in one file
    }
    const std::string before = contents(file);
    for (const auto& book : {TuningBook::open(file), TuningBook::open_existing(file)}) {
        ASSERT_FALSE(book);
        EXPECT_THAT(book.error().message, HasSubstr("newer Rankwright"));
    }
    EXPECT_EQ(contents(file), before);
}

TEST_F(Book, AnOlderBookIsBroughtUpToDateOrLeftAsItWas) {
    const auto entries = some.entries(1, 100);
    ASSERT_TRUE(begun().append(kVisit, entries));
    std::vector<const char*> steps(book_steps().begin(), book_steps().end());
    steps.push_back("ALTER TABLE fault ADD COLUMN seen TEXT; INSERT INTO nowhere VALUES(1);");
    {
        SQLite::Database database(file.string(), SQLite::OPEN_READWRITE);
        EXPECT_THROW(bring_up_to_date(database, steps), SQLite::Exception);
    }
    EXPECT_EQ(difference(*open().entries(kVisit), entries), "") << "the failed step left no trace";
    EXPECT_EQ(sql(file, "SELECT count(*) FROM pragma_table_info('fault') WHERE name = 'seen'"),
              "0");
    steps.back() = "ALTER TABLE fault ADD COLUMN seen TEXT;";
    {
        SQLite::Database database(file.string(), SQLite::OPEN_READWRITE);
        bring_up_to_date(database, steps);
        bring_up_to_date(database, steps);
    }
    EXPECT_EQ(sql(file, "PRAGMA user_version"), std::to_string(steps.size()));
    EXPECT_EQ(sql(file, "SELECT count(*) FROM entry"), "100");
    EXPECT_THAT(TuningBook::open(file).error().message, HasSubstr("newer Rankwright"));
}

TEST_F(Book, NoticesThatItWasMovedAway) {
    TuningBook book = begun();
    EXPECT_FALSE(book.moved());
    fs::rename(file, folder / "elsewhere.sqlite");
    EXPECT_TRUE(book.moved());
}

// RFC 9562, 4: the form of a UUID; 5.4: version 4.
TEST(VisitIds, AreRandomUuids) {
    const std::string id = new_visit_id();
    EXPECT_THAT(id, ::testing::MatchesRegex(
                        "[0-9a-f]{8}-[0-9a-f]{4}-4[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}"));
    EXPECT_NE(id, new_visit_id());
}

}  // namespace tuning_book_test
}  // namespace rankwright::storage
