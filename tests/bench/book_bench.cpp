// How long a large archive takes to open, to tell a pipe's history and to compare seasons. It makes
// the archive itself: `book_bench FILE [organs]`, 60 000 readings an organ (20 years, two visits a
// year, 750 pipes found and left); 500 organs are 30 million readings and about 4 GB. Each time is
// taken with nothing of the file in memory, and again right after.
#include "storage/tuning_book.h"

#include <algorithm>
#include <chrono>
#include <cstdio>
#include <cstdlib>
#include <filesystem>
#include <functional>
#include <string>

#include <SQLiteCpp/SQLiteCpp.h>
#include <fcntl.h>
#include <unistd.h>

namespace {

using namespace rankwright;

double seconds(const std::function<void()>& work) {
    const auto began = std::chrono::steady_clock::now();
    work();
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - began).count();
}

void forget(const std::string& file) {
    const int descriptor = ::open(file.c_str(), O_RDONLY | O_CLOEXEC);
    ::fsync(descriptor);
    ::posix_fadvise(descriptor, 0, 0, POSIX_FADV_DONTNEED);
    ::close(descriptor);
}

/// With the program's own tables, but by SQL in bulk and without waiting for the disk.
void make_archive(const std::string& file, int organs) {
    { (void)storage::TuningBook::open(file); }
    SQLite::Database book(file, SQLite::OPEN_READWRITE);
    const std::string index =
        book.execAndGet("SELECT sql FROM sqlite_schema WHERE name = 'reading_of_pipe'").getString();
    book.exec("PRAGMA synchronous = OFF");
    book.exec("PRAGMA cache_size = -500000");
    book.exec("DROP INDEX reading_of_pipe");
    book.exec("CREATE TEMP TABLE n(i INTEGER PRIMARY KEY)");
    book.exec(
        "WITH RECURSIVE c(i) AS (VALUES(0) UNION ALL SELECT i + 1 FROM c WHERE i < 1499) "
        "INSERT INTO n SELECT i FROM c");
    const std::string count = std::to_string(organs);
    book.exec("INSERT INTO organ SELECT i, 'organ-' || i, 'Organ ' || i, 0 FROM n WHERE i < " +
              count);
    book.exec(
        "INSERT INTO pipe SELECT o.id * 750 + n.i, o.id, 'great', 'stop-' || (n.i / 50), 1, "
        "1 + n.i % 50 FROM organ o, n WHERE n.i < 750 ORDER BY 1");
    book.exec(
        "INSERT INTO visit(id, uuid, organ, instrument_file, started, ended, branch_of, "
        "first_serial) SELECT n.i * " +
        count +
        " + o.id, 'visit-' || o.id || '-' || n.i, o.id, 'organ.toml', "
        "1100000000000 + n.i * 15768000000, 1100000000000 + n.i * 15768000000 + 30000000, "
        "NULL, 1 FROM organ o, n WHERE n.i < 40 ORDER BY 1");
    // Visits come year by year, as they would in a shop.
    for (int visit = 0; visit < 40 * organs; visit += 500) {
        const std::string of = " FROM visit v, n WHERE v.id >= " + std::to_string(visit) +
                               " AND v.id < " + std::to_string(std::min(visit + 500, 40 * organs)) +
                               " ORDER BY v.id, n.i";
        SQLite::Transaction transaction(book);
        book.exec("INSERT INTO entry SELECT v.id, 1 + n.i, v.started + n.i * 15000" + of);
        book.exec(
            "INSERT INTO reading SELECT v.id, 1 + n.i, v.organ * 750 + n.i / 2, 1 + n.i % 2, "
            "440 + random() % 1000 / 1e3, 440, random() % 1000 / 1e2, abs(random() % 100) / "
            "1e3, 2.4, n.i % 2, v.organ * 750 + n.i / 2 / 50 * 50, random() % 100 / 1e3, "
            "0.02, random() % 100 / 1e3, 18 + random() % 300 / 1e2" +
            of);
        transaction.commit();
    }
    book.exec(index);
    book.exec("PRAGMA wal_checkpoint(TRUNCATE)");
}

void report(const char* what, const std::string& file, const std::function<void()>& work) {
    forget(file);
    const double cold = seconds(work);
    std::printf("%-44s %8.1f ms  %8.1f ms\n", what, 1000.0 * cold, 1000.0 * seconds(work));
}

}  // namespace

int main(int argc, char** argv) {
    if (argc < 2) return 2;
    const std::string file = argv[1];
    const int organs = argc > 2 ? std::atoi(argv[2]) : 500;
    if (!std::filesystem::exists(file))
        std::printf("made in %.0f s\n", seconds([&] { make_archive(file, organs); }));
    std::printf("%d organs, %.1f million readings, %.2f GB\n", organs, organs * 0.06,
                static_cast<double>(std::filesystem::file_size(file)) / 1e9);
    std::printf("%-44s %11s  %11s\n", "", "cold", "warm");
    report("open", file, [&] { (void)storage::TuningBook::open(file); });
    const auto book = storage::TuningBook::open(file);
    if (!book) return 1;
    const std::string organ = "organ-" + std::to_string(organs / 2);
    std::size_t found = 0;
    for (const int key : {1, 25, 50})
        report(("history of a pipe, key " + std::to_string(key)).c_str(), file, [&] {
            found = book->history(organ, {"great", "stop-7", 1, key})->size();
        });
    std::printf("  (%zu readings)\n", found);
    const std::string last = "visit-" + std::to_string(organs / 2) + "-39";
    report("an organ's season beside the one before", file,
           [&] { found = book->figures(last)->size() + book->last_figures(organ, last)->size(); });
    std::printf("  (%zu figures)\n", found);
    report("organs", file, [&] { found = book->organs()->size(); });
    report("all visits", file, [&] { found = book->visits()->size(); });
    std::printf("  (%zu visits)\n", found);
}
