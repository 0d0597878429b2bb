// What visits found, pipe by pipe.
#pragma once

#include "storage/visit_rows.h"
#include "visit/book_record.h"

#include <string>
#include <vector>

#include <SQLiteCpp/SQLiteCpp.h>

namespace rankwright::storage {

/// Readings of a visit that count, in order: those of the visits from which it branches off with
/// it.
std::vector<visit::BookedReading> line_readings(SQLite::Database& book, const VisitRow& visit);

/// For each pipe what one visit found, by pipes.
std::vector<visit::PipeFigures> figures(SQLite::Database& book, const VisitRow& visit);

/// For each pipe of an organ what its last visit found, by pipes. A visit that went on apart in two
/// copies of the book counts as one, with all that was read: so it is the same in every copy.
/// `except` leaves a visit out, with all its parts.
std::vector<visit::PipeFigures> last_figures(SQLite::Database& book, const std::string& organ,
                                             const std::string& except);

}  // namespace rankwright::storage
