#include "core/text.h"
#include "storage/book_exchange.h"
#include "storage/book_schema.h"
#include "storage/durable_file.h"

#include <fstream>
#include <system_error>

#include <SQLiteCpp/Backup.h>
#include <SQLiteCpp/SQLiteCpp.h>

namespace rankwright::storage {

namespace {

namespace fs = std::filesystem;

/// The rows of a query with one column, as texts.
std::vector<std::string> texts(SQLite::Database& book, const std::string& query) {
    SQLite::Statement row(book, query);
    std::vector<std::string> all;
    while (row.executeStep())
        all.push_back(row.getColumn(0).getString());
    return all;
}

}  // namespace

Result<void> backup(const TuningBook& book, const fs::path& file) {
    std::error_code ignored;
    if (fs::exists(file, ignored))
        return tl::unexpected<Error>(
            Error{ErrorKind::bad_input,
                  "is there already, and nothing is overwritten: choose another name",
                  Place{file.string()}});
    const fs::path part = file.string() + ".part";
    if (!std::ofstream(part))
        return tl::unexpected<Error>(
            Error{ErrorKind::storage,
                  "can't be written: look whether its folder is there and can be written, or "
                  "choose another",
                  Place{file.string()}});
    fs::remove(part, ignored);
    auto copied = attempt(file, [&] {
        SQLite::Database copy(part.string(), SQLite::OPEN_READWRITE | SQLite::OPEN_CREATE);
        // In one go: the copy is of one moment, and those who write needn't wait
        // (https://sqlite.org/backup.html).
        SQLite::Backup(copy, book.database()).executeStep(-1);
        // One file, that can be read from a medium that can't be written.
        copy.execAndGet("PRAGMA journal_mode = DELETE");
        if (copy.execAndGet("PRAGMA quick_check").getString() != "ok")
            throw WrongBook{
                "isn't a sound copy and was not kept: look after both disks, then run "
                "`rankwright book check`"};
    });
    if (copied) return move_into_place(part, file);
    fs::remove(part, ignored);
    return copied;
}

Result<std::vector<std::string>> faults_of(const TuningBook& book) {
    return attempt(book.file(), [&] {
        SQLite::Database& database = book.database();
        std::vector<std::string> faults = texts(database, "PRAGMA integrity_check");
        if (faults == std::vector<std::string>{"ok"}) faults.clear();
        for (std::string& fault : faults)
            fault.insert(0, "the file is damaged: ");
        for (const std::string& table :
             texts(database, "SELECT DISTINCT \"table\" FROM pragma_foreign_key_check"))
            faults.push_back("rows of " + table + " refer to others that aren't there");
        for (const std::string& visit :
             texts(database,
                   "SELECT 'visit ' || v.uuid || ': ' || (max(e.serial) - v.first_serial + 1 - "
                   "count(*)) || ' of its ' || (max(e.serial) - v.first_serial + 1) || ' entries "
                   "are missing; if the program named a file of rescued entries, import it' "
                   "FROM visit v JOIN entry e ON e.visit = v.id GROUP BY v.id "
                   "HAVING count(*) <> max(e.serial) - v.first_serial + 1"))
            faults.push_back(visit);
        std::string matters;
        for (const char* table :
             {"reading", "fault", "reach", "air", "pitch", "remark", "list_change", "withdrawal"})
            matters +=
                text_of({matters.empty() ? "" : " + ", "(SELECT count(*) FROM ", table, ")"});
        if (database.execAndGet("SELECT (SELECT count(*) FROM entry) <> " + matters).getInt() != 0)
            faults.emplace_back("there are entries that say nothing, or more than one thing");
        return faults;
    });
}

}  // namespace rankwright::storage
