// The tuning book: every organ, every visit, every kept entry, in one SQLite database.
#pragma once

#include "core/result.h"
#include "visit/book_entry.h"
#include "visit/book_record.h"

#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

namespace SQLite {
class Database;
}

namespace rankwright::storage {

/// $XDG_DATA_HOME/rankwright/tuning-book.sqlite (~/.local/share when unset).
std::filesystem::path usual_book();

/// A random id for a new visit (a version 4 UUID, RFC 9562).
std::string new_visit_id();

/// One connection to a book; belongs to one thread. Any number of programs may have the same book
/// open. What a call reports as written is on disk, and survives the program's and the machine's
/// sudden end; of a call that failed nothing is in the book. Every error says what to do next.
class TuningBook {
  public:
    /// The book of a file, made (its folder too) when there is none, brought up to date when it is
    /// of an older version.
    static Result<TuningBook> open(const std::filesystem::path& file);
    /// Only a book that is there (else not_found); where it can't be written, it can be read.
    static Result<TuningBook> open_existing(const std::filesystem::path& file);
    ~TuningBook();
    TuningBook(TuningBook&&) noexcept;
    TuningBook& operator=(TuningBook&&) noexcept;

    const std::filesystem::path& file() const { return file_; }
    /// The file was moved, removed or replaced since it was opened: what is written now would be
    /// lost.
    bool moved() const;

    /// Begins a visit, or finds the one of this id; its organ comes into the book with it.
    Result<void> begin_visit(const visit::VisitRecord& visit);
    /// Adds entries of a visit that was begun, all or none. Those already there are left alone.
    /// Gives the id of the visit under which to go on: another only when the visit went on
    /// otherwise meanwhile, in another program or a merged copy; these entries are then kept as a
    /// branch of it.
    Result<std::string> append(const std::string& visit, std::span<const visit::BookEntry> entries);
    /// The visit is over and won't be resumed.
    Result<void> end_visit(const std::string& visit, visit::WallTime at);

    Result<std::vector<visit::OrganRecord>> organs() const;
    /// By their beginning; of one organ when it is named. An organ that isn't known has none.
    Result<std::vector<visit::VisitRecord>> visits(
        const std::optional<std::string>& organ = std::nullopt) const;
    Result<std::optional<visit::VisitRecord>> visit(const std::string& id) const;
    /// Those whose ids begin so; found without reading the others, however many there are.
    Result<std::vector<visit::VisitRecord>> visits_named(const std::string& beginning) const;
    /// The one that began last, at an organ where it is named.
    Result<std::optional<visit::VisitRecord>> latest_visit(
        const std::optional<std::string>& organ = std::nullopt) const;
    /// The latest visit of an organ that isn't over, to be resumed: with last_serial + 1.
    Result<std::optional<visit::VisitRecord>> open_visit(const std::string& organ) const;
    /// What the instrument file said at a visit; empty where nothing was kept: by a program that
    /// didn't yet, or of a visit that isn't known.
    Result<std::optional<visit::KeptInstrument>> instrument(const std::string& visit) const;
    /// Every entry of a visit in order, withdrawn ones too.
    Result<std::vector<visit::BookEntry>> entries(const std::string& visit) const;

    // What was withdrawn is left out of the following.

    /// Of one visit, in order.
    Result<std::vector<visit::BookedReading>> readings(const std::string& visit) const;
    /// Of one pipe, over all visits, by their time.
    Result<std::vector<visit::BookedReading>> history(const std::string& organ,
                                                      const PipeId& pipe) const;
    /// For each pipe of an organ what its last visit found, by pipes; `except` leaves a visit out:
    /// that of today.
    Result<std::vector<visit::PipeFigures>> last_figures(const std::string& organ,
                                                         const std::string& except = "") const;
    /// For each pipe what one visit found.
    Result<std::vector<visit::PipeFigures>> figures(const std::string& visit) const;

    /// The database, for the rest of storage.
    SQLite::Database& database() const { return *database_; }

  private:
    TuningBook(std::filesystem::path file, std::unique_ptr<SQLite::Database> database);

    std::filesystem::path file_;
    std::unique_ptr<SQLite::Database> database_;
    std::uint64_t device_ = 0;  ///< of the file as it was opened
    std::uint64_t inode_ = 0;
};

}  // namespace rankwright::storage
