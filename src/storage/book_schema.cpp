#include "storage/book_schema.h"

#include "core/text.h"

#include <array>

#include <sqlite3.h>

namespace rankwright::storage {

namespace {

// "RkTB": tells our database from any other program's (https://sqlite.org/fileformat.html, 1.3.9).
constexpr int kApplicationId = 0x526B5442;

// Every kind of entry has its table; `entry` gives them all one serial and time. They are clustered
// by visit and serial, so that a visit is read in one piece; a pipe's readings are found by the
// index, whose entries end with the visit and serial (the key of a table without rowids).
// Times are milliseconds since 1970, UTC. A figure that isn't a number is NULL.
// A visit that went on apart in two copies of the book has a branch, `branch_of` and
// `first_serial`.
constexpr const char* kFirst = R"(
CREATE TABLE organ(
  id INTEGER PRIMARY KEY,
  slug TEXT NOT NULL UNIQUE,
  name TEXT NOT NULL,
  named_at INTEGER NOT NULL
) STRICT;
CREATE TABLE visit(
  id INTEGER PRIMARY KEY,
  uuid TEXT NOT NULL UNIQUE,
  organ INTEGER NOT NULL REFERENCES organ,
  instrument_file TEXT NOT NULL,
  started INTEGER NOT NULL,
  ended INTEGER,
  branch_of INTEGER REFERENCES visit,
  first_serial INTEGER NOT NULL
) STRICT;
CREATE INDEX visit_of_organ ON visit(organ, started);
CREATE INDEX branch ON visit(branch_of) WHERE branch_of IS NOT NULL;
CREATE TABLE pipe(
  id INTEGER PRIMARY KEY,
  organ INTEGER NOT NULL REFERENCES organ,
  division TEXT NOT NULL,
  stop TEXT NOT NULL,
  row INTEGER NOT NULL,
  key INTEGER NOT NULL,
  UNIQUE(organ, division, stop, row, key)
) STRICT;
CREATE TABLE entry(
  visit INTEGER NOT NULL REFERENCES visit,
  serial INTEGER NOT NULL,
  at INTEGER NOT NULL,
  PRIMARY KEY(visit, serial)
) STRICT, WITHOUT ROWID;
CREATE TABLE reading(
  visit INTEGER NOT NULL,
  serial INTEGER NOT NULL,
  pipe INTEGER NOT NULL REFERENCES pipe,
  moment INTEGER NOT NULL CHECK(moment BETWEEN 0 AND 2), -- survey, before, after
  pitch_hz REAL,
  target_hz REAL,
  deviation_cents REAL,
  uncertainty_cents REAL,
  heard_s REAL,
  settled INTEGER NOT NULL,
  reference INTEGER REFERENCES pipe,
  reference_deviation_cents REAL,
  reference_uncertainty_cents REAL,
  beat_hz REAL,
  air_c REAL,
  PRIMARY KEY(visit, serial),
  FOREIGN KEY(visit, serial) REFERENCES entry
) STRICT, WITHOUT ROWID;
CREATE INDEX reading_of_pipe ON reading(pipe);
CREATE TABLE fault(
  visit INTEGER NOT NULL,
  serial INTEGER NOT NULL,
  pipe INTEGER NOT NULL REFERENCES pipe,
  fault TEXT NOT NULL,
  words TEXT NOT NULL,
  PRIMARY KEY(visit, serial),
  FOREIGN KEY(visit, serial) REFERENCES entry
) STRICT, WITHOUT ROWID;
CREATE TABLE reach(
  visit INTEGER NOT NULL,
  serial INTEGER NOT NULL,
  pipe INTEGER NOT NULL REFERENCES pipe,
  out_of_reach INTEGER NOT NULL,
  PRIMARY KEY(visit, serial),
  FOREIGN KEY(visit, serial) REFERENCES entry
) STRICT, WITHOUT ROWID;
CREATE TABLE air(
  visit INTEGER NOT NULL,
  serial INTEGER NOT NULL,
  place TEXT NOT NULL,
  air_c REAL,
  humidity REAL,
  PRIMARY KEY(visit, serial),
  FOREIGN KEY(visit, serial) REFERENCES entry
) STRICT, WITHOUT ROWID;
CREATE TABLE pitch(
  visit INTEGER NOT NULL,
  serial INTEGER NOT NULL,
  a_hz REAL,
  measured INTEGER NOT NULL,
  PRIMARY KEY(visit, serial),
  FOREIGN KEY(visit, serial) REFERENCES entry
) STRICT, WITHOUT ROWID;
CREATE TABLE remark(
  visit INTEGER NOT NULL,
  serial INTEGER NOT NULL,
  division TEXT,
  stop TEXT,
  key INTEGER,
  words TEXT NOT NULL,
  complaint INTEGER NOT NULL,
  PRIMARY KEY(visit, serial),
  FOREIGN KEY(visit, serial) REFERENCES entry
) STRICT, WITHOUT ROWID;
CREATE TABLE list_change(
  visit INTEGER NOT NULL,
  serial INTEGER NOT NULL,
  pipe INTEGER NOT NULL REFERENCES pipe,
  -- proposed, wanted, dropped, open, done, hear again
  state INTEGER NOT NULL CHECK(state BETWEEN 0 AND 5),
  PRIMARY KEY(visit, serial),
  FOREIGN KEY(visit, serial) REFERENCES entry
) STRICT, WITHOUT ROWID;
CREATE TABLE withdrawal(
  visit INTEGER NOT NULL,
  serial INTEGER NOT NULL,
  of_visit INTEGER NOT NULL REFERENCES visit, -- another than `visit` when that is its branch
  of_serial INTEGER NOT NULL,
  PRIMARY KEY(visit, serial),
  FOREIGN KEY(visit, serial) REFERENCES entry
) STRICT, WITHOUT ROWID;
CREATE INDEX withdrawn ON withdrawal(of_visit, of_serial);
)";

// What a visit's instrument file said; visits of one organ mostly share it.
constexpr const char* kKeepInstruments = R"(
CREATE TABLE instrument(
  id INTEGER PRIMARY KEY,
  text TEXT NOT NULL UNIQUE
) STRICT;
ALTER TABLE visit ADD COLUMN instrument INTEGER REFERENCES instrument;
ALTER TABLE visit ADD COLUMN instrument_at INTEGER;
)";

constexpr std::array kSteps{kFirst, kKeepInstruments};

int pragma(SQLite::Database& book, const std::string& name) {
    return book.execAndGet("PRAGMA " + name).getInt();
}

/// The version of the book; 0 for a file without anything in it.
int version_of(SQLite::Database& book, std::size_t known) {
    const int version = pragma(book, "user_version");
    const int application = pragma(book, "application_id");
    const bool empty = book.execAndGet("SELECT count(*) FROM sqlite_schema").getInt() == 0;
    if (empty && version == 0 && application == 0) return 0;
    if (application != kApplicationId)
        throw WrongBook{
            "is another program's database, not a tuning book: nothing was changed; "
            "name the right file with --book"};
    if (version < 0 || static_cast<std::size_t>(version) > known)
        throw WrongBook{
            text_of({"was written by a newer Rankwright (its layout is number ",
                     std::to_string(version), ", this program knows ", std::to_string(known),
                     "): nothing was changed; install the newer program here too"})};
    return version;
}

}  // namespace

std::span<const char* const> book_steps() { return kSteps; }

void bring_up_to_date(SQLite::Database& book, std::span<const char* const> steps) {
    const int known = static_cast<int>(steps.size());
    if (version_of(book, steps.size()) == known) return;
    SQLite::Transaction transaction(book, SQLite::TransactionBehavior::IMMEDIATE);
    // Again, now that nobody else can: another program may have come first.
    for (int step = version_of(book, steps.size()); step < known; ++step)
        book.exec(steps[static_cast<std::size_t>(step)]);
    book.exec("PRAGMA application_id = " + std::to_string(kApplicationId));
    book.exec("PRAGMA user_version = " + std::to_string(known));
    transaction.commit();
}

void require_up_to_date(SQLite::Database& book) {
    if (version_of(book, kSteps.size()) != static_cast<int>(kSteps.size()))
        throw WrongBook{
            "has the layout of an older Rankwright and can't be written here: copy it "
            "to a place where it can be brought up to date"};
}

Error book_error(const SQLite::Exception& failure, const std::filesystem::path& file) {
    const auto because = [&](ErrorKind kind, std::string_view words) {
        return Error{kind, text_of({words, " (", failure.what(), ")"}), Place{file.string()}};
    };
    switch (failure.getErrorCode()) {
        case SQLITE_FULL:
            return because(ErrorKind::storage,
                           "can't be written, the disk is full: make room on it");
        case SQLITE_READONLY:
        case SQLITE_PERM:
        case SQLITE_AUTH:
            return because(ErrorKind::storage,
                           "can't be written, the file or its folder is read-only: allow writing "
                           "there, or name a book elsewhere with --book");
        case SQLITE_CANTOPEN:
            return because(ErrorKind::storage,
                           "can't be opened or made: look whether its folder is there and can be "
                           "written, or name a book elsewhere with --book");
        case SQLITE_BUSY:
        case SQLITE_LOCKED:
            return because(ErrorKind::storage,
                           "is held by another program: wait until that is done, or close it");
        case SQLITE_IOERR:
            return because(ErrorKind::storage,
                           "can't be read or written, the disk fails or was taken out: look after "
                           "it, or name a book elsewhere with --book");
        case SQLITE_CORRUPT:
            return because(ErrorKind::bad_input,
                           "is damaged: nothing was changed; keep it, bring back the latest "
                           "backup, or name a new book with --book and merge them later");
        case SQLITE_NOTADB:
            return because(ErrorKind::bad_input,
                           "is no tuning book: nothing was changed; name the right file with "
                           "--book");
        default:
            return because(ErrorKind::storage, "can't be used");
    }
}

Error book_error(const WrongBook& failure, const std::filesystem::path& file) {
    return {ErrorKind::bad_input, failure.message, Place{file.string()}};
}

}  // namespace rankwright::storage
