// The work list of today's visit, and what earlier visits tell for it, from the tuning book.
#pragma once

#include "core/result.h"
#include "organ/instrument.h"
#include "storage/tuning_book.h"
#include "visit/work_list.h"

#include <filesystem>
#include <optional>
#include <vector>

namespace rankwright::app {

/// What the visits before this one tell. The latest eight are looked at.
Result<visit::ListHistory> history_before(const storage::TuningBook& book,
                                          const visit::VisitRecord& visit,
                                          const organ::Instrument& instrument);

struct VisitList {
    std::optional<visit::VisitRecord> visit;  ///< that isn't over; empty: none is begun
    std::vector<visit::BookEntry> entries;    ///< its entries
    visit::WorkList list;
};

/// Of one visit in the book.
Result<VisitList> list_of(const storage::TuningBook& book, const visit::VisitRecord& visit,
                          const organ::Instrument& instrument);
/// Of the visit that isn't over, or, where none is begun, of the next one. A book that isn't there
/// has nothing on its list.
Result<VisitList> list_in(const std::filesystem::path& book, const organ::Instrument& instrument);

}  // namespace rankwright::app
