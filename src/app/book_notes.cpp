#include "app/book_notes.h"

#include "visit/record.h"

namespace rankwright::app {

Result<std::map<PipeId, PipeNotes>> notes_of(const storage::TuningBook& book,
                                             const std::set<std::string>& visits) {
    std::map<PipeId, PipeNotes> notes;
    for (const std::string& visit : visits) {
        const auto entries = book.entries(visit);
        if (!entries) return tl::unexpected<Error>(entries.error());
        for (const visit::BookEntry& entry : visit::counted(*entries)) {
            if (const auto* fault = std::get_if<visit::Fault>(&entry.matter))
                notes[fault->pipe].faults.push_back(*fault);
            if (const auto* change = std::get_if<visit::ListChange>(&entry.matter))
                notes[change->pipe].list = change->state;
        }
    }
    return notes;
}

}  // namespace rankwright::app
