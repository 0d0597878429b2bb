// The thread that writes the tuning book: nothing posted is lost, whatever happens to the disk or
// to the program. What is found in the book is checked by SQLite's own integrity check.
#include "storage/book_writer.h"

#include "storage/book_json.h"
#include "support/book_entries.h"
#include "support/failing_disk.h"
#include "support/killed_program.h"
#include "support/same_entries.h"
#include "support/temporary_folder.h"

#include <chrono>
#include <cstdlib>
#include <fstream>
#include <functional>
#include <random>
#include <thread>

#include <SQLiteCpp/SQLiteCpp.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::storage {
namespace book_writer_test {

namespace fs = std::filesystem;
using testing::BookEntries;
using testing::difference;
using testing::FailingDisk;
using ::testing::HasSubstr;
using testing::invented_visit;

const std::string kVisit = "00000000-0000-4000-8000-000000000001";

/// Waits for what takes milliseconds; far longer on a busy machine.
bool comes_true(const std::function<bool()>& condition) {
    for (int i = 0; i < 20000; ++i) {
        if (condition()) return true;
        std::this_thread::sleep_for(std::chrono::milliseconds(1));
    }
    return false;
}

struct Writer : ::testing::Test {
    testing::TemporaryFolder folder;
    fs::path file = folder / "tuning-book.sqlite";
    std::vector<visit::BookEntry> entries = BookEntries(7).entries(1, 500);
    visit::VisitRecord visit = invented_visit(kVisit);
    const Seconds soon{0.02};

    void post(BookWriter& writer, std::size_t from, std::size_t to) const {
        for (std::size_t i = from; i < to; ++i)
            writer.post(entries[i]);
    }
    std::vector<visit::BookEntry> in_book() const {
        const auto book = TuningBook::open_existing(file);
        if (!book) return {};
        const auto found = book->entries(kVisit);
        return found ? *found : std::vector<visit::BookEntry>{};
    }
};

TEST_F(Writer, AcknowledgesWhatIsInTheBook) {
    BookWriter writer(file, visit);
    EXPECT_EQ(writer.acknowledged(), 0U);
    for (std::size_t i = 0; i < entries.size(); ++i) {
        writer.post(entries[i]);
        if (i % 50 != 0) continue;
        ASSERT_TRUE(comes_true([&] { return writer.acknowledged() == i + 1; })) << writer.trouble();
        const auto found = in_book();
        ASSERT_EQ(difference(found, {entries.begin(), entries.begin() + static_cast<long>(i) + 1}),
                  "");
    }
    EXPECT_EQ(writer.trouble(), "");
    EXPECT_EQ(writer.visit_id(), kVisit);
}

TEST_F(Writer, WritesAllBeforeItGoes) {
    {
        BookWriter writer(file, visit);
        post(writer, 0, entries.size());
        writer.end_visit(visit.started + std::chrono::hours{8});
    }
    EXPECT_EQ(difference(in_book(), entries), "");
    EXPECT_EQ(TuningBook::open_existing(file)->visit(kVisit)->value().ended,
              visit.started + std::chrono::hours{8});
}

TEST_F(Writer, MakesTheBookAtOnceButAVisitOnlyForAnEntry) {
    { const BookWriter writer(file, visit); }
    EXPECT_TRUE(fs::exists(file));
    EXPECT_TRUE(TuningBook::open_existing(file)->visits()->empty());
}

TEST_F(Writer, GoesOnWithAVisit) {
    {
        BookWriter writer(file, visit);
        post(writer, 0, 200);
    }
    const auto open = *TuningBook::open_existing(file)->open_visit(visit.organ);
    ASSERT_TRUE(open);
    EXPECT_EQ(open->last_serial, 200U);
    {
        BookWriter writer(file, *open);
        EXPECT_EQ(writer.acknowledged(), 200U);
        post(writer, 200, entries.size());
    }
    EXPECT_EQ(difference(in_book(), entries), "");
}

TEST_F(Writer, AcknowledgesNothingBehindAGap) {
    BookWriter writer(file, visit);
    writer.post(entries[0]);
    writer.post(entries[2]);
    ASSERT_TRUE(comes_true([&] { return writer.held() == 0; }));
    EXPECT_EQ(writer.acknowledged(), 1U);
    writer.post(entries[1]);
    ASSERT_TRUE(comes_true([&] { return writer.acknowledged() == 3; }));
}

TEST_F(Writer, HoldsWhatAFullDiskRefusesAndWritesItWhenThereIsRoom) {
    BookWriter writer(file, visit, soon);
    post(writer, 0, 100);
    ASSERT_TRUE(comes_true([&] { return writer.acknowledged() == 100; }));
    {
        const FailingDisk disk(FailingDisk::Failure::full);
        post(writer, 100, 300);
        ASSERT_TRUE(comes_true([&] { return !writer.trouble().empty(); }));
        EXPECT_THAT(writer.trouble(), HasSubstr("disk is full"));
        EXPECT_THAT(writer.trouble(), HasSubstr(file.string()));
        std::this_thread::sleep_for(std::chrono::milliseconds(100));
        EXPECT_EQ(writer.acknowledged(), 100U);
        EXPECT_EQ(writer.held(), 200U);
        post(writer, 300, 301);
    }
    ASSERT_TRUE(comes_true([&] { return writer.acknowledged() == 301; })) << writer.trouble();
    EXPECT_TRUE(comes_true([&] { return writer.trouble().empty(); }));
    EXPECT_EQ(difference(in_book(), {entries.begin(), entries.begin() + 301}), "");
}

TEST_F(Writer, SaysAtOnceThatItsFolderIsReadOnly) {
    const FailingDisk disk(FailingDisk::Failure::read_only);
    const BookWriter writer(file, visit, soon);
    ASSERT_TRUE(comes_true([&] { return !writer.trouble().empty(); }));
    EXPECT_THAT(writer.trouble(), HasSubstr("--book"));
}

TEST_F(Writer, WaitsForAnotherProgram) {
    { const BookWriter makes_it(file, visit); }
    SQLite::Database other(file.string(), SQLite::OPEN_READWRITE);
    other.exec("BEGIN EXCLUSIVE");
    BookWriter writer(file, visit, soon);
    post(writer, 0, 10);
    ASSERT_TRUE(comes_true([&] { return !writer.trouble().empty(); }));
    EXPECT_THAT(writer.trouble(), HasSubstr("another program"));
    other.exec("COMMIT");
    EXPECT_TRUE(comes_true([&] { return writer.acknowledged() == 10; }));
}

TEST_F(Writer, BeginsTheBookAnewWhenItIsTakenAway) {
    BookWriter writer(file, visit, soon);
    post(writer, 0, 10);
    ASSERT_TRUE(comes_true([&] { return writer.acknowledged() == 10; }));
    fs::rename(file, folder / "moved.sqlite");
    fs::remove(file.string() + "-wal");
    fs::remove(file.string() + "-shm");
    post(writer, 10, 20);
    ASSERT_TRUE(comes_true([&] { return writer.acknowledged() == 20; })) << writer.trouble();
    EXPECT_EQ(difference(in_book(), {entries.begin() + 10, entries.begin() + 20}), "");
}

TEST_F(Writer, TwoProgramsAtOneVisitLoseNothing) {
    const auto others = BookEntries(8).entries(1, 100);
    std::string first, second;
    {
        BookWriter one(file, visit), other(file, visit);
        for (std::size_t i = 0; i < others.size(); ++i) {
            one.post(entries[i]);
            other.post(others[i]);
        }
        ASSERT_TRUE(
            comes_true([&] { return one.acknowledged() == 100 && other.acknowledged() == 100; }));
        first = one.visit_id();
        second = other.visit_id();
    }
    EXPECT_NE(first, second);
    const auto book = TuningBook::open_existing(file);
    EXPECT_EQ(difference(*book->entries(first), {entries.begin(), entries.begin() + 100}), "");
    EXPECT_EQ(difference(*book->entries(second), others), "");
}

TEST_F(Writer, PutsWhatItCantWriteAtTheEndIntoAFileAndSaysSo) {
    ::testing::internal::CaptureStderr();
    {
        const FailingDisk disk(FailingDisk::Failure::full);
        BookWriter writer(file, visit, soon);
        post(writer, 0, 30);
    }
    const std::string said = ::testing::internal::GetCapturedStderr();
    const fs::path rescued = folder / "tuning-book.sqlite.rescued-00000000-1.json";
    EXPECT_THAT(said, HasSubstr("30 entries"));
    EXPECT_THAT(said, HasSubstr("rankwright book import '" + rescued.string()));
    const auto json = Json::parse(std::ifstream(rescued));
    ASSERT_EQ(json["visits"].size(), 1U);
    std::vector<visit::BookEntry> found;
    for (const Json& entry : json["visits"][0]["entries"])
        found.push_back(*parse_entry(entry));
    EXPECT_EQ(difference(found, {entries.begin(), entries.begin() + 30}), "");
}

// Where the book's own folder can't take the file either, not even root's.
TEST_F(Writer, PutsItIntoTheFolderForTemporaryFilesOtherwise) {
    ::testing::internal::CaptureStderr();
    {
        BookWriter writer("/proc/rankwright/tuning-book.sqlite", visit, soon);
        post(writer, 0, 3);
    }
    const std::string said = ::testing::internal::GetCapturedStderr();
    const fs::path rescued =
        fs::temp_directory_path() / "tuning-book.sqlite.rescued-00000000-1.json";
    EXPECT_THAT(said, HasSubstr(rescued.string()));
    EXPECT_TRUE(fs::remove(rescued));
}

// RANKWRIGHT_KILLS=200 for more than the usual number.
TEST_F(Writer, WhatWasAcknowledgedOutlivesAKilledProgram) {
    const char* wanted = std::getenv("RANKWRIGHT_KILLS");
    const int kills = wanted != nullptr ? std::atoi(wanted) : 20;
    std::mt19937 random(20261126);
    std::uniform_int_distribution<int> microseconds(0, 300'000);
    std::uint64_t acknowledged = 0;
    int with_entries = 0;
    for (int i = 0; i < kills; ++i) {
        if (i % 20 == 0) {  // a new book, so that checking it all stays quick
            file = folder / ("book-" + std::to_string(i));
            acknowledged = 0;
        }
        testing::KilledProgram program(BOOK_WRITING, {file.string()});
        const auto lines = program.kill_after(std::chrono::microseconds(microseconds(random)));
        const std::uint64_t last = lines.empty() ? 0 : std::stoull(lines.back());
        with_entries += last > acknowledged ? 1 : 0;
        acknowledged = std::max(acknowledged, last);
        if (!fs::exists(file)) continue;
        const auto book = TuningBook::open(file);  // as after any end
        ASSERT_TRUE(book) << book.error().message;
        const auto open = *book->open_visit("emberlow");
        if (!open) {
            ASSERT_EQ(acknowledged, 0U);
            continue;
        }
        const auto found = *book->entries(open->id);
        ASSERT_GE(found.size(), acknowledged) << "kill " << i;
        std::vector<visit::BookEntry> posted;
        for (std::uint64_t serial = 1; serial <= found.size(); ++serial)
            posted.push_back(BookEntries(serial).entry(serial));
        ASSERT_EQ(difference(found, posted), "") << "kill " << i;
        ASSERT_EQ(book->visits()->size(), 1U);
        ASSERT_EQ(SQLite::Database(file.string()).execAndGet("PRAGMA integrity_check").getString(),
                  "ok");
    }
    EXPECT_GT(with_entries, kills / 3) << "it was hardly ever killed at work";
    std::printf("%d kills, %d of them at work\n", kills, with_entries);
}

}  // namespace book_writer_test
}  // namespace rankwright::storage
