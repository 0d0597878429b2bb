// Organs and visits in the tuning book, and where a visit's entries go.
#pragma once

#include "storage/book_rows.h"
#include "visit/book_entry.h"
#include "visit/book_record.h"

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include <SQLiteCpp/SQLiteCpp.h>

namespace rankwright::storage {

/// A visit and its numbers in this book.
struct VisitRow {
    visit::VisitRecord record;
    std::int64_t number = 0;
    std::int64_t organ = 0;
    std::optional<std::int64_t> branch_of;
    std::uint64_t first_serial = 1;
};

std::optional<VisitRow> find_visit(SQLite::Database& book, const std::string& id);
/// Those whose ids begin so, by their beginning.
std::vector<VisitRow> visits_named(SQLite::Database& book, const std::string& beginning);
/// The last of what list_visits lists.
std::optional<VisitRow> latest_visit(SQLite::Database& book,
                                     const std::optional<std::string>& organ);
/// All visits, or those of an organ, by their beginning.
std::vector<VisitRow> list_visits(SQLite::Database& book, const std::optional<std::string>& organ);
/// The visit, its organ with it, added when it isn't there; the organ's name is that of its latest
/// visit. An end that is told counts; of instruments the one that was read later.
VisitRow keep_visit(SQLite::Database& book, const visit::VisitRecord& visit);
/// What the instrument file said at a visit; its branches share it.
std::optional<visit::KeptInstrument> instrument_of(SQLite::Database& book, const VisitRow& visit);
/// The later end counts.
void end_visit(SQLite::Database& book, std::int64_t visit, visit::WallTime at);

/// From the first visit, whose entries begin with 1, to the one whose branch this is, to this.
std::vector<VisitRow> line_of(SQLite::Database& book, const VisitRow& visit);
/// All that happened in a visit: what it went on from with it.
std::vector<visit::BookEntry> line_entries(SQLite::Database& book, const VisitRow& visit);

/// Puts entries where they belong. One that is there already is left alone. When another stands in
/// its place (the visit went on apart in two copies of the book), it and what follows go into a
/// branch, named so that it is the same wherever books are merged. Inside a transaction of the
/// caller's.
class Landing {
  public:
    Landing(SQLite::Database& book, VisitRow visit);
    /// By rising serials.
    void add(const visit::BookEntry& entry);
    /// Where the latest entry is.
    const VisitRow& visit() const { return visit_; }
    std::size_t added() const { return added_; }

  private:
    void turn_to(VisitRow visit);
    void branch_off(const visit::BookEntry& entry);

    SQLite::Database& book_;
    VisitRow visit_;
    EntryRows rows_;
    /// What stands in the current visit, as text; read when it is first needed.
    std::optional<std::map<std::uint64_t, std::string>> there_;
    std::size_t added_ = 0;
};

}  // namespace rankwright::storage
