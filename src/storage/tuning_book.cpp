#include "storage/tuning_book.h"

#include "core/text.h"
#include "storage/book_figures.h"
#include "storage/book_schema.h"
#include "storage/visit_rows.h"

#include <array>
#include <cstdio>
#include <cstdlib>
#include <random>
#include <system_error>
#include <utility>

#include <SQLiteCpp/SQLiteCpp.h>
#include <sqlite3.h>
#include <sys/stat.h>

namespace rankwright::storage {

namespace {

using namespace visit;
namespace fs = std::filesystem;

/// How long a call waits for another program that is writing. SQLite's own writes take
/// milliseconds; a merge into the same book holds it longer, and the storage thread tries again.
constexpr int kPatienceMs = 1000;

std::unique_ptr<SQLite::Database> connect(const std::string& name, int flags) {
    auto book = std::make_unique<SQLite::Database>(name, flags, kPatienceMs);
    book->exec("PRAGMA foreign_keys = ON");
    book->exec("PRAGMA synchronous = FULL");
    return book;
}

std::unique_ptr<SQLite::Database> connect_to_write(const fs::path& file, int more_flags) {
    auto book = connect(file.string(), SQLite::OPEN_READWRITE | more_flags);
    // First of all nothing is written: the file may be no book at all.
    const bool has_tables = book->execAndGet("SELECT count(*) FROM sqlite_schema").getInt() > 0;
    if (has_tables) bring_up_to_date(*book, book_steps());
    book->execAndGet("PRAGMA journal_mode = WAL");
    bring_up_to_date(*book, book_steps());
    return book;
}

bool cant_write(const SQLite::Exception& failure) {
    const int code = failure.getErrorCode();
    return code == SQLITE_READONLY || code == SQLITE_CANTOPEN || code == SQLITE_PERM;
}

/// A book on a medium that can't be written: without even the lock files of other readers.
std::unique_ptr<SQLite::Database> connect_to_read(const fs::path& file) {
    std::unique_ptr<SQLite::Database> book;
    try {
        book = connect(file.string(), SQLite::OPEN_READONLY);
        require_up_to_date(*book);
    } catch (const SQLite::Exception& failure) {
        std::error_code ignored;
        // What isn't yet in the file itself would be missed (https://sqlite.org/wal.html,
        // "Read-Only Databases").
        const bool all_in_file = !fs::exists(file.string() + "-wal", ignored) ||
                                 fs::is_empty(file.string() + "-wal", ignored);
        if (!cant_write(failure) || !all_in_file) throw;
        std::string name = "file:";
        for (const char c : fs::absolute(file).string()) {
            std::array<char, 4> escaped{};
            if (c == '%' || c == '?' || c == '#')
                std::snprintf(escaped.data(), escaped.size(), "%%%02X", static_cast<unsigned>(c));
            else
                escaped[0] = c;
            name += escaped.data();
        }
        book = connect(name + "?immutable=1", SQLite::OPEN_READONLY | SQLite::OPEN_URI);
        require_up_to_date(*book);
    }
    return book;
}

std::vector<VisitRecord> records(std::vector<VisitRow> rows) {
    std::vector<VisitRecord> visits;
    visits.reserve(rows.size());
    for (VisitRow& row : rows)
        visits.push_back(std::move(row.record));
    return visits;
}

VisitRow known_visit(SQLite::Database& book, const std::string& id) {
    auto row = find_visit(book, id);
    if (!row)
        throw WrongBook{text_of({"has no visit ", id, ": `rankwright book visits` lists them"})};
    return std::move(*row);
}

}  // namespace

fs::path usual_book() {
    const char* data = std::getenv("XDG_DATA_HOME");
    const char* home = std::getenv("HOME");
    const fs::path folder = data != nullptr && *data != '\0'
                                ? fs::path(data)
                                : fs::path(home != nullptr ? home : ".") / ".local/share";
    return folder / "rankwright/tuning-book.sqlite";
}

std::string new_visit_id() {
    std::random_device random;
    const auto word = [&] { return static_cast<unsigned>(random()); };
    std::array<char, 40> text{};
    const unsigned middle = word(), last = word();
    std::snprintf(text.data(), text.size(), "%08x-%04x-4%03x-%04x-%04x%08x", word(), middle >> 16U,
                  middle & 0xFFFU, 0x8000U | (last >> 16U & 0x3FFFU), last & 0xFFFFU, word());
    return text.data();
}

TuningBook::TuningBook(fs::path file, std::unique_ptr<SQLite::Database> database)
    : file_(std::move(file)), database_(std::move(database)) {
    struct stat now {};
    if (::stat(file_.c_str(), &now) == 0) {
        device_ = now.st_dev;
        inode_ = now.st_ino;
    }
}
TuningBook::~TuningBook() = default;
TuningBook::TuningBook(TuningBook&&) noexcept = default;
TuningBook& TuningBook::operator=(TuningBook&&) noexcept = default;

Result<TuningBook> TuningBook::open(const fs::path& file) {
    std::error_code ignored;  // SQLite says it, when the folder isn't there then
    if (file.has_parent_path()) fs::create_directories(file.parent_path(), ignored);
    return attempt(file, [&] {
        TuningBook book(file, connect_to_write(file, SQLite::OPEN_CREATE));
        // Whether it can be written is better said now than at the first pipe.
        const SQLite::Transaction probe(book.database(), SQLite::TransactionBehavior::IMMEDIATE);
        return book;
    });
}

Result<TuningBook> TuningBook::open_existing(const fs::path& file) {
    std::error_code error;
    if (!fs::exists(file, error))
        return tl::unexpected<Error>(
            Error{ErrorKind::not_found,
                  "isn't there: a book is begun by the first visit; name another with --book",
                  Place{file.string()}});
    return attempt(file, [&] {
        try {
            return TuningBook(file, connect_to_write(file, 0));
        } catch (const SQLite::Exception& failure) {
            if (!cant_write(failure)) throw;
            return TuningBook(file, connect_to_read(file));
        }
    });
}

bool TuningBook::moved() const {
    struct stat now {};
    return ::stat(file_.c_str(), &now) != 0 || now.st_dev != device_ || now.st_ino != inode_;
}

Result<void> TuningBook::begin_visit(const VisitRecord& visit) {
    return attempt(file_, [&] {
        SQLite::Transaction transaction(*database_, SQLite::TransactionBehavior::IMMEDIATE);
        keep_visit(*database_, visit);
        transaction.commit();
    });
}

Result<std::string> TuningBook::append(const std::string& visit,
                                       std::span<const BookEntry> entries) {
    return attempt(file_, [&] {
        SQLite::Transaction transaction(*database_, SQLite::TransactionBehavior::IMMEDIATE);
        Landing landing(*database_, known_visit(*database_, visit));
        for (const BookEntry& entry : entries)
            landing.add(entry);
        transaction.commit();
        return landing.visit().record.id;
    });
}

Result<void> TuningBook::end_visit(const std::string& visit, WallTime at) {
    return attempt(file_, [&] {
        SQLite::Transaction transaction(*database_, SQLite::TransactionBehavior::IMMEDIATE);
        storage::end_visit(*database_, known_visit(*database_, visit).number, at);
        transaction.commit();
    });
}

Result<std::vector<OrganRecord>> TuningBook::organs() const {
    return attempt(file_, [&] {
        SQLite::Statement row(*database_,
                              "SELECT o.slug, o.name, count(v.id), max(v.started) FROM organ o "
                              "LEFT JOIN visit v ON v.organ = o.id AND v.branch_of IS NULL "
                              "GROUP BY o.id ORDER BY o.name, o.slug");
        std::vector<OrganRecord> organs;
        while (row.executeStep()) {
            OrganRecord organ{row.getColumn(0).getString(),
                              row.getColumn(1).getString(),
                              static_cast<std::uint64_t>(row.getColumn(2).getInt64()),
                              {}};
            if (!row.getColumn(3).isNull())
                organ.last_visit = WallTime{std::chrono::milliseconds{row.getColumn(3).getInt64()}};
            organs.push_back(std::move(organ));
        }
        return organs;
    });
}

Result<std::vector<VisitRecord>> TuningBook::visits(const std::optional<std::string>& organ) const {
    return attempt(file_, [&] { return records(list_visits(*database_, organ)); });
}

Result<std::optional<VisitRecord>> TuningBook::visit(const std::string& id) const {
    return attempt(file_, [&]() -> std::optional<VisitRecord> {
        auto row = find_visit(*database_, id);
        if (!row) return std::nullopt;
        return std::move(row->record);
    });
}

Result<std::vector<VisitRecord>> TuningBook::visits_named(const std::string& beginning) const {
    return attempt(file_, [&] { return records(storage::visits_named(*database_, beginning)); });
}

Result<std::optional<VisitRecord>> TuningBook::latest_visit(
    const std::optional<std::string>& organ) const {
    return attempt(file_, [&]() -> std::optional<VisitRecord> {
        auto row = storage::latest_visit(*database_, organ);
        if (!row) return std::nullopt;
        return std::move(row->record);
    });
}

Result<std::optional<VisitRecord>> TuningBook::open_visit(const std::string& organ) const {
    return attempt(file_, [&]() -> std::optional<VisitRecord> {
        auto visits = list_visits(*database_, organ);
        while (!visits.empty() && visits.back().record.ended)
            visits.pop_back();
        if (visits.empty()) return std::nullopt;
        return std::move(visits.back().record);
    });
}

Result<std::optional<KeptInstrument>> TuningBook::instrument(const std::string& visit) const {
    return attempt(file_, [&]() -> std::optional<KeptInstrument> {
        const auto row = find_visit(*database_, visit);
        return row ? instrument_of(*database_, *row) : std::nullopt;
    });
}

Result<std::vector<BookEntry>> TuningBook::entries(const std::string& visit) const {
    return attempt(file_, [&] { return line_entries(*database_, known_visit(*database_, visit)); });
}

Result<std::vector<BookedReading>> TuningBook::readings(const std::string& visit) const {
    return attempt(file_,
                   [&] { return line_readings(*database_, known_visit(*database_, visit)); });
}

Result<std::vector<BookedReading>> TuningBook::history(const std::string& organ,
                                                       const PipeId& pipe) const {
    return attempt(file_, [&] {
        SQLite::Statement number(*database_,
                                 "SELECT p.id FROM pipe p JOIN organ o ON o.id = p.organ WHERE "
                                 "o.slug = ? AND p.division = ? AND p.stop = ? AND p.row = ? AND "
                                 "p.key = ?");
        number.bind(1, organ);
        number.bind(2, pipe.division);
        number.bind(3, pipe.stop);
        number.bind(4, pipe.row);
        number.bind(5, pipe.key);
        if (!number.executeStep()) return std::vector<BookedReading>{};
        return counted_readings(*database_, "r.pipe = ? ORDER BY e.at, r.visit, r.serial",
                                {number.getColumn(0).getInt64()});
    });
}

Result<std::vector<PipeFigures>> TuningBook::last_figures(const std::string& organ,
                                                          const std::string& except) const {
    return attempt(file_, [&] { return storage::last_figures(*database_, organ, except); });
}

Result<std::vector<PipeFigures>> TuningBook::figures(const std::string& visit) const {
    return attempt(file_,
                   [&] { return storage::figures(*database_, known_visit(*database_, visit)); });
}

}  // namespace rankwright::storage
