// What the visit has found and done so far, and what the tuning book is still owed.
#pragma once

#include "core/pipe_id.h"
#include "visit/book_entry.h"

#include <cstdint>
#include <map>
#include <optional>
#include <set>
#include <span>
#include <string>
#include <vector>

namespace rankwright::visit {

/// What is known of one pipe in this visit; withdrawn entries left out.
struct PipeRecord {
    std::optional<KeptReading> survey;
    std::optional<KeptReading> before;
    std::optional<KeptReading> after;
    std::uint64_t survey_serial = 0;  ///< of `survey`; 0 without one
    std::uint64_t after_serial = 0;   ///< of `after`; 0 without one
    std::vector<Fault> faults;
    bool out_of_reach = false;
    std::optional<ListState> list;
    std::uint64_t list_serial = 0;   ///< of `list`; 0 without one
    int left_to_be_heard_again = 0;  ///< so often in this visit
    int left_open = 0;               ///< likewise
};

/// A visit's entries in memory. Belongs to the listening thread; nothing here touches a disk.
class Record {
  public:
    Record() = default;
    /// Goes on with a visit whose entries, in order, are in the book already.
    explicit Record(std::vector<BookEntry> earlier);

    /// Makes an entry and returns its serial number.
    std::uint64_t add(WallTime at, BookMatter matter);
    /// The entries made since the last call, to be written to the book.
    std::vector<BookEntry> take_owed();
    /// The book holds everything up to and including `serial`.
    void acknowledge(std::uint64_t serial);
    std::uint64_t acknowledged() const { return acknowledged_; }

    /// What is known of a pipe; all empty when nothing is.
    const PipeRecord& of(const PipeId& pipe) const;
    /// Its reading as left is in the book, on disk.
    bool kept(const PipeId& pipe) const;
    /// The pipe of the stop, or of all, of which a reading was kept last, those of surveys left
    /// out.
    std::optional<PipeId> latest_of(const StopId& stop) const;
    std::optional<PipeId> latest() const { return latest_; }
    /// Of all that were surveyed, the one that was kept last.
    std::optional<PipeId> latest_surveyed() const { return latest_surveyed_; }
    const std::vector<BookEntry>& entries() const { return entries_; }

    /// Withdraws the latest entry about a pipe that still counts, and with it what was noted in the
    /// same breath; with a pipe's being done, how it was left; or a complaint that came later.
    /// Returns the pipe (key 0 where a complaint is about no single one); empty when nothing is
    /// left to undo.
    std::optional<PipeId> undo(WallTime at);

  private:
    void note(const BookEntry& entry);
    bool withdrawn(std::uint64_t serial) const;
    void rebuild();

    std::vector<BookEntry> entries_;
    std::set<std::uint64_t> withdrawn_;
    std::size_t owed_from_ = 0;
    std::uint64_t acknowledged_ = 0;
    std::map<PipeId, PipeRecord> pipes_;
    std::map<StopId, PipeId> latest_of_;
    std::optional<PipeId> latest_;
    std::optional<PipeId> latest_surveyed_;
};

/// It was left to be heard again so often in this visit that calling it once more won't help:
/// something about it has to be looked at. Eight times (common practice, no source).
bool does_not_stay(const PipeRecord& pipe);
/// The pipe is to be heard again because its reference was kept anew after it was tuned: from that,
/// or alone, where `named` is the reference that the instrument names for it.
bool reference_moved_since(const Record& record, const PipeId& pipe,
                           const std::optional<PipeId>& named = std::nullopt);
/// Serials of the entries that were undone; a withdrawal that was itself withdrawn undoes nothing.
std::set<std::uint64_t> withdrawn_in(std::span<const BookEntry> entries);
/// The others, in order, without the withdrawals themselves.
std::vector<BookEntry> counted(std::span<const BookEntry> entries);
/// The pipe that an entry is about; empty for the day's and the organ's.
std::optional<PipeId> pipe_of(const BookMatter& matter);

}  // namespace rankwright::visit
