// The program killed at work: what the screen called kept is in the book, the book is sound by
// SQLite's own integrity check, and the same visit goes on from there.
#include "storage/tuning_book.h"
#include "support/killed_program.h"
#include "support/temporary_folder.h"

#include <cstdio>
#include <cstdlib>
#include <random>
#include <set>

#include <SQLiteCpp/SQLiteCpp.h>
#include <gtest/gtest.h>

namespace rankwright::app {
namespace killed_visit_test {

/// The keys whose pipes are in the book as they were left.
std::set<int> left_in(const storage::TuningBook& book, const std::string& visit) {
    std::set<int> keys;
    const auto figures = book.figures(visit);
    if (!figures) return keys;
    for (const visit::PipeFigures& pipe : *figures)
        if (pipe.after && pipe.after->reading.settled) keys.insert(pipe.pipe.key);
    return keys;
}

// RANKWRIGHT_KILLS=200 for more than the usual number.
TEST(KilledVisit, WhatTheScreenCalledKeptIsInTheBookAndTheVisitGoesOn) {
    const char* wanted = std::getenv("RANKWRIGHT_KILLS");
    const int kills = wanted != nullptr ? std::atoi(wanted) : 6;
    const std::string organ = std::string(RANKWRIGHT_INSTRUMENTS) + "/emberlow.toml";
    const testing::TemporaryFolder folder;
    std::mt19937 random(20261127);
    // Of its work, in half seconds: a pipe takes some ten seconds. Every other kill comes when the
    // work must be well under way, the rest at any moment.
    std::uniform_int_distribution<std::size_t> early(1, 100), late(40, 100);
    std::uniform_int_distribution<int> microseconds(0, 30'000);
    std::filesystem::path file;
    std::string visit;
    std::set<int> kept;
    int at_work = 0;
    for (int i = 0; i < kills; ++i) {
        if (i % 10 == 0) {  // before the stop is done
            file = folder / ("book-" + std::to_string(i));
            visit.clear();
            kept.clear();
        }
        testing::KilledProgram program(VISIT_AT_WORK,
                                       {organ, file.string(), std::to_string(100 + i)});
        const auto lines = program.kill_after(i % 2 == 0 ? late(random) : early(random),
                                              std::chrono::microseconds(microseconds(random)));
        const std::size_t before = kept.size();
        for (const std::string& line : lines)
            if (!line.empty()) kept.insert(std::stoi(line));
        at_work += kept.size() > before ? 1 : 0;
        if (!std::filesystem::exists(file)) continue;
        ASSERT_EQ(SQLite::Database(file.string()).execAndGet("PRAGMA integrity_check").getString(),
                  "ok");
        const auto book = storage::TuningBook::open(file);
        ASSERT_TRUE(book) << book.error().message;
        const auto visits = book->visits();
        ASSERT_TRUE(visits);
        ASSERT_LE(visits->size(), 1U) << "the open visit wasn't gone on with";
        if (visits->empty()) {
            ASSERT_TRUE(kept.empty());
            continue;
        }
        if (visit.empty()) visit = visits->front().id;
        EXPECT_EQ(visits->front().id, visit);
        EXPECT_FALSE(visits->front().ended);
        const std::set<int> left = left_in(*book, visit);
        for (const int key : kept)
            EXPECT_TRUE(left.count(key)) << "key " << key << " was shown as kept; kill " << i;
    }
    std::printf("%d kills, %d of them after a pipe was kept, %zu pipes in the last book\n", kills,
                at_work, kept.size());
    EXPECT_GE(at_work * 2, kills) << "it was seldom killed at work";
}

}  // namespace killed_visit_test
}  // namespace rankwright::app
