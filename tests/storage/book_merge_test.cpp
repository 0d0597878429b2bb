// Books that are joined in every way that two laptops may be: in any order, twice, after work at
// the same visit on both, with books that are older, damaged or in use. That the order doesn't
// matter, that twice is once, and that nothing is lost are the laws of a join of sets (idempotent,
// commutative, associative), checked on random books.
#include "storage/book_exchange.h"
#include "storage/book_json.h"
#include "storage/book_schema.h"
#include "support/book_entries.h"
#include "support/failing_disk.h"
#include "support/temporary_folder.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <fstream>
#include <map>
#include <set>
#include <thread>

#include <SQLiteCpp/SQLiteCpp.h>
#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::storage {
namespace book_merge_test {

namespace fs = std::filesystem;
using testing::BookEntries;
using ::testing::HasSubstr;
using testing::invented_visit;

std::string text_of_reading(const std::optional<visit::BookedReading>& one) {
    return one ? to_line(entry_json({one->serial, one->at, one->reading})) : "-";
}

struct Joining : ::testing::Test {
    testing::TemporaryFolder folder;

    TuningBook open(const std::string& name) {
        auto book = TuningBook::open(folder / name);
        if (!book) throw std::runtime_error(book.error().message);
        book->database().exec("PRAGMA synchronous = OFF");  // it takes long otherwise
        return std::move(*book);
    }
    /// Each visit, with the states of the parts that went on apart and what is kept with it.
    static std::map<std::string, std::string> parts_of(const TuningBook& book,
                                                       const std::string& organ) {
        std::map<std::string, std::string> roots;
        std::map<std::string, std::multiset<std::string>> states;
        const auto visits = book.visits(organ).value();
        for (const visit::VisitRecord& visit : visits) {
            roots[visit.id] = visit.branch_of.empty() ? visit.id : roots.at(visit.branch_of);
            states[roots[visit.id]].insert(visit.ended ? "over" : "open");
        }
        std::map<std::string, std::string> parts;
        for (const auto& [root, all] : states) {
            for (const std::string& state : all)
                parts[root] += " " + state;
            const auto kept = book.instrument(root).value();
            parts[root] += kept ? " " + kept->text : "";
        }
        return parts;
    }
    /// What a technician sees of a book, apart from which of two parts kept the visit's id.
    static std::set<std::string> seen(const TuningBook& book) {
        std::set<std::string> all;
        SQLite::Statement entry(book.database(), "SELECT count(*) FROM entry");
        entry.executeStep();
        all.insert("entries: " + entry.getColumn(0).getString());
        const auto organs = book.organs().value();
        for (const visit::OrganRecord& organ : organs) {
            all.insert(organ.slug + " " + organ.name + " " + std::to_string(organ.visits));
            const auto figures = book.last_figures(organ.slug).value();
            for (const visit::PipeFigures& one : figures) {
                const std::string pipe = organ.slug + "/" + to_string(one.pipe);
                all.insert(pipe + " last " + text_of_reading(one.survey) +
                           text_of_reading(one.before) + text_of_reading(one.after));
                const auto history = book.history(organ.slug, one.pipe).value();
                for (const visit::BookedReading& reading : history)
                    all.insert(pipe + " " + text_of_reading(reading));
            }
            for (const auto& [root, parts] : parts_of(book, organ.slug))
                all.insert(root + parts);
        }
        return all;
    }
    static void join(TuningBook& into, const TuningBook& from) {
        const auto moved = merge(into, from);
        ASSERT_TRUE(moved) << moved.error().message;
    }
};

/// Three laptops with a common past, which then worked apart: at visits of their own, and at the
/// one that wasn't over.
struct ThreeLaptops : Joining {
    std::vector<TuningBook> books;

    void work_apart(std::uint64_t seed) {
        books.clear();
        BookEntries some(seed);
        const std::string name = "laptop-" + std::to_string(seed) + "-";
        books.push_back(open(name + "0"));
        auto common = invented_visit(new_visit_id());
        common.instrument = visit::KeptInstrument{"as it was", common.started};
        ASSERT_TRUE(books[0].begin_visit(common));
        ASSERT_TRUE(books[0].append(common.id, some.entries(1, 12)));
        for (int i = 1; i < 3; ++i) {
            const std::string other = name + std::to_string(i);
            ASSERT_TRUE(backup(books[0], folder / other));
            books.push_back(open(other));
        }
        for (std::size_t i = 0; i < books.size(); ++i) {
            common.instrument = visit::KeptInstrument{
                "changed on " + std::to_string(i),
                common.started + std::chrono::hours{static_cast<int>(seed * 7 + i) % 3}};
            ASSERT_TRUE(books[i].begin_visit(common));
            ASSERT_TRUE(books[i].append(common.id, some.entries(13, 6 + i)));
            if (i == 1) {
                ASSERT_TRUE(books[i].end_visit(common.id, common.started));
            }
            auto own = invented_visit(new_visit_id(), "emberlow",
                                      1'791'000'000 + static_cast<std::int64_t>(1000 * i));
            own.organ_name = "named on " + std::to_string(i);
            ASSERT_TRUE(books[i].begin_visit(own));
            ASSERT_TRUE(books[i].append(own.id, some.entries(1, 8)));
        }
    }
};

TEST_F(ThreeLaptops, TheOrderOfJoiningDoesntMatter) {
    for (std::uint64_t seed = 21; seed < 26; ++seed) {
        work_apart(seed);
        std::array<std::size_t, 3> order{0, 1, 2};
        std::set<std::string> first;
        do {
            TuningBook all = open("all-" + std::to_string(seed) + "-" + std::to_string(order[0]) +
                                  std::to_string(order[1]));
            for (const std::size_t one : order)
                join(all, books[one]);
            if (first.empty()) first = seen(all);
            EXPECT_EQ(seen(all), first) << seed << ": " << order[0] << order[1] << order[2];
            EXPECT_TRUE(faults_of(all)->empty());
            // Twice is once.
            for (const TuningBook& book : books)
                EXPECT_EQ(merge(all, book)->entries, 0U);
            EXPECT_EQ(seen(all), first);
        } while (std::next_permutation(order.begin(), order.end()));
        EXPECT_TRUE(first.count("entries: " + std::to_string(12 + 6 + 7 + 8 + 3 * 8)))
            << "nothing lost, nothing doubled";
        // Into one another, in whatever direction.
        join(books[0], books[1]);
        join(books[1], books[2]);
        join(books[2], books[0]);
        join(books[0], books[1]);
        join(books[1], books[2]);
        join(books[0], books[2]);
        for (const TuningBook& book : books)
            EXPECT_EQ(seen(book), first) << seed;
    }
}

TEST_F(ThreeLaptops, WorkGoesOnAfterJoining) {
    work_apart(31);
    join(books[0], books[1]);
    const auto open_visit = *books[0].open_visit("emberlow");
    ASSERT_TRUE(open_visit);
    const auto next = BookEntries(5).entries(open_visit->last_serial + 1, 3);
    EXPECT_EQ(books[0].append(open_visit->id, next), open_visit->id) << "no branch of a branch";
    join(books[1], books[0]);
    EXPECT_EQ(seen(books[1]), seen(books[0]));
}

struct Instruments : Joining {
    visit::VisitRecord visit_with(const std::string& text, int hour) {
        auto visit = invented_visit("one");
        visit.instrument = visit::KeptInstrument{text, visit.started + std::chrono::hours{hour}};
        return visit;
    }
};

TEST_F(Instruments, AreKeptWithTheVisitAndGoWithIt) {
    TuningBook book = open("book");
    ASSERT_TRUE(book.begin_visit(invented_visit("one")));
    EXPECT_FALSE(book.instrument("one").value());
    ASSERT_TRUE(book.begin_visit(visit_with("name = \"A\"\n", 2)));
    ASSERT_TRUE(book.begin_visit(visit_with("older", 1)));
    ASSERT_TRUE(book.append("one", BookEntries(1).entries(1, 5)));
    const std::string branch = *book.append("one", BookEntries(2).entries(3, 5));
    ASSERT_NE(branch, "one");
    for (const std::string& id : {std::string("one"), branch}) {
        const auto kept = book.instrument(id).value();
        ASSERT_TRUE(kept) << id;
        EXPECT_EQ(kept->text, "name = \"A\"\n");
    }
    ASSERT_TRUE(export_json(book, folder / "book.json", {}));
    TuningBook again = open("again");
    ASSERT_TRUE(import_json(again, folder / "book.json"));
    EXPECT_EQ(seen(again), seen(book));
    TuningBook third = open("third");
    join(third, book);
    EXPECT_EQ(third.instrument(branch).value()->text, "name = \"A\"\n");
}

// What a Rankwright before this one wrote: the layout's first step alone.
TEST_F(Joining, TakesInAnOlderBook) {
    {
        SQLite::Database old((folder / "old").string(),
                             SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE);
        bring_up_to_date(old, book_steps().first(1));
        old.exec("INSERT INTO organ VALUES(1, 'emberlow', 'Emberlow Hall', 0)");
        old.exec("INSERT INTO visit VALUES(1, 'old-visit', 1, 'emberlow.toml', 0, NULL, NULL, 1)");
        old.exec("INSERT INTO entry VALUES(1, 1, 0)");
        old.exec("INSERT INTO pitch VALUES(1, 1, 441.5, 1)");
    }
    TuningBook book = open("book");
    const auto old = TuningBook::open_existing(folder / "old");
    ASSERT_TRUE(old) << old.error().message;
    EXPECT_EQ(merge(book, *old)->entries, 1U);
    const auto entries = *book.entries("old-visit");
    ASSERT_EQ(entries.size(), 1U);
    EXPECT_DOUBLE_EQ(std::get<visit::PitchReading>(entries[0].matter).a.value(), 441.5);
    EXPECT_FALSE(book.instrument("old-visit").value());
}

TEST_F(ThreeLaptops, OfADamagedBookNothingIsTakenIn) {
    work_apart(41);
    const auto before = seen(books[0]);
    const fs::path damaged = folder / "damaged";
    {
        TuningBook large = open("large");
        BookEntries some(3);
        ASSERT_TRUE(large.begin_visit(invented_visit("large")));
        ASSERT_TRUE(large.append("large", some.entries(1, 3000)));
        ASSERT_TRUE(backup(large, damaged));
    }
    {
        std::fstream file(damaged, std::ios::binary | std::ios::in | std::ios::out);
        file.seekp(static_cast<std::streamoff>(fs::file_size(damaged) / 3));
        file << std::string(60'000, '\x5A');
    }
    const auto other = TuningBook::open_existing(damaged);
    const auto moved = other ? merge(books[0], *other) : tl::unexpected(other.error());
    ASSERT_FALSE(moved);
    EXPECT_THAT(moved.error().message, HasSubstr("is damaged"));
    EXPECT_THAT(moved.error().message, HasSubstr("backup"));
    ASSERT_TRUE(moved.error().where);
    EXPECT_EQ(moved.error().where->file, damaged.string()) << "the other, not this one";
    EXPECT_EQ(seen(books[0]), before);
    EXPECT_TRUE(faults_of(books[0])->empty());
}

TEST_F(ThreeLaptops, ABookThatCantBeWrittenSaysSoAndStaysAsItWas) {
    work_apart(42);
    const auto before = seen(books[0]);
    using Failure = testing::FailingDisk::Failure;
    for (const auto& [failure, said] : std::map<Failure, std::string>{
             {Failure::full, "make room"}, {Failure::read_only, "read-only"}}) {
        {
            const testing::FailingDisk disk(failure);
            const auto moved = merge(books[0], books[1]);
            ASSERT_FALSE(moved);
            EXPECT_THAT(moved.error().message, HasSubstr(said));
            EXPECT_EQ(moved.error().where->file, books[0].file().string());
        }
        EXPECT_EQ(seen(books[0]), before);
    }
    join(books[0], books[1]);
}

TEST_F(ThreeLaptops, ABookInUseIsWaitedForOrSaysSo) {
    work_apart(43);
    const auto before = seen(books[0]);
    TuningBook at_work = open("laptop-43-0");
    {
        const SQLite::Transaction writing(at_work.database(),
                                          SQLite::TransactionBehavior::IMMEDIATE);
        const auto moved = merge(books[0], books[1]);
        ASSERT_FALSE(moved);
        EXPECT_THAT(moved.error().message, HasSubstr("held by another program"));
        EXPECT_EQ(seen(books[0]), before);
        // To find that there is nothing new, nobody has to let go of it.
        ASSERT_TRUE(backup(books[0], folder / "copy"));
        const auto nothing = merge(books[0], open("copy"));
        ASSERT_TRUE(nothing) << nothing.error().message;
        EXPECT_EQ(nothing->entries, 0U);
        EXPECT_EQ(nothing->visits, 2U);
    }
    // One that writes again and again, as work does, isn't in the way, and loses nothing.
    ASSERT_TRUE(at_work.begin_visit(invented_visit("at work")));
    std::size_t written = 0;
    std::jthread work([&](const std::stop_token& stop) {
        BookEntries some(9);
        while (!stop.stop_requested()) {
            if (at_work.append("at work", some.entries(written + 1, 1))) ++written;
            std::this_thread::sleep_for(std::chrono::milliseconds{1});
        }
    });
    join(books[0], books[1]);
    join(books[0], books[2]);
    work.request_stop();
    work.join();
    EXPECT_EQ(books[0].entries("at work")->size(), written);
    EXPECT_EQ(merge(books[0], books[1])->entries, 0U);
    EXPECT_TRUE(faults_of(books[0])->empty());
}

}  // namespace book_merge_test
}  // namespace rankwright::storage
