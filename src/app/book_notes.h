// What the tuning book notes of pipes besides readings: faults, and how they stand in the work
// list.
#pragma once

#include "core/result.h"
#include "storage/tuning_book.h"
#include "visit/book_entry.h"

#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

namespace rankwright::app {

struct PipeNotes {
    std::vector<visit::Fault> faults;
    std::optional<visit::ListState> list;
};

/// Of each pipe of which one of these visits notes something; withdrawn entries left out.
Result<std::map<PipeId, PipeNotes>> notes_of(const storage::TuningBook& book,
                                             const std::set<std::string>& visits);

}  // namespace rankwright::app
