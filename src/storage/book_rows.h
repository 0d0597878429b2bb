// The entries of a visit as rows of the tuning book's tables.
#pragma once

#include "visit/book_entry.h"
#include "visit/book_record.h"

#include <chrono>
#include <cstdint>
#include <map>
#include <string>
#include <string_view>
#include <vector>

#include <SQLiteCpp/SQLiteCpp.h>

namespace rankwright::storage {

/// Writes entries of one organ's visits, inside a transaction of the caller's. Visits and pipes are
/// named by their numbers in this book.
class EntryRows {
  public:
    EntryRows(SQLite::Database& book, std::int64_t organ) : book_(book), organ_(organ) {}

    bool has(std::int64_t visit, std::uint64_t serial);
    /// Requires that the visit has no entry of this serial.
    void insert(std::int64_t visit, const visit::BookEntry& entry);

  private:
    SQLite::Statement& statement(std::string_view sql);
    std::int64_t pipe_number(const PipeId& pipe);
    /// The visit in whose own span a serial lies: of a branch's early serials that from which it
    /// branches off.
    std::int64_t owner(std::int64_t visit, std::uint64_t serial);
    void insert_matter(std::int64_t visit, std::uint64_t serial, const visit::BookMatter& matter);

    SQLite::Database& book_;
    std::int64_t organ_;
    std::map<std::string_view, SQLite::Statement> statements_;
    std::map<PipeId, std::int64_t> pipes_;
};

/// A moment as the book holds it, milliseconds since the beginning of 1970 (UTC), and back.
inline std::int64_t since_1970_ms(visit::WallTime at) { return at.time_since_epoch().count(); }
inline visit::WallTime wall_time(std::int64_t since_1970_ms) {
    return visit::WallTime{std::chrono::milliseconds{since_1970_ms}};
}

/// All entries of a visit by serial, those of visits from which it branches off not among them.
std::vector<visit::BookEntry> entries_of(SQLite::Database& book, std::int64_t visit);

/// Readings that count, by the rest of a query on `reading r`, `entry e`, `visit v` and `pipe p`
/// (from AND on); `bound` are its parameters.
std::vector<visit::BookedReading> counted_readings(SQLite::Database& book, const std::string& rest,
                                                   const std::vector<std::int64_t>& bound);

}  // namespace rankwright::storage
