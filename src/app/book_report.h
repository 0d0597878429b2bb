// The report of a visit from the tuning book.
#pragma once

#include "core/result.h"
#include "report/visit_report.h"
#include "storage/tuning_book.h"

#include <optional>
#include <string>

namespace rankwright::app {

/// Which visit to report on.
struct WhichVisit {
    std::string organ;  ///< its name or its slug in the book; empty: any
    std::string visit;  ///< its id, or the beginning of it; empty: the latest
};

/// Fails with nothing_heard when the book has no visit yet, and with what there is when that one
/// isn't in it.
Result<visit::VisitRecord> find_visit(const storage::TuningBook& book, const WhichVisit& which);

/// The latest visit at the same organ before that one; empty when there is none.
Result<std::optional<visit::VisitRecord>> visit_before(const storage::TuningBook& book,
                                                       const visit::VisitRecord& visit);

/// How each pipe was left by the latest of the eight visits before this one that heard it.
Result<visit::DatedReadings> left_before(const storage::TuningBook& book,
                                         const visit::VisitRecord& visit);
/// How each pipe of `found` was left by the latest visit before this one that heard it.
Result<visit::DatedReadings> left_before(const storage::TuningBook& book,
                                         const visit::VisitRecord& visit,
                                         const visit::DatedReadings& found);

/// `instrument` may be null; it must outlive the call only.
Result<report::VisitReport> report_of(const storage::TuningBook& book,
                                      const visit::VisitRecord& visit,
                                      const organ::Instrument* instrument);

}  // namespace rankwright::app
