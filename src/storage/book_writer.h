// The storage thread: what was found at the pipes goes into the tuning book, and comes back as
// acknowledged once it is on disk.
#pragma once

#include "core/units.h"
#include "storage/tuning_book.h"
#include "visit/book_entry.h"
#include "visit/book_record.h"

#include <atomic>
#include <condition_variable>
#include <filesystem>
#include <mutex>
#include <optional>
#include <set>
#include <stop_token>
#include <string>
#include <thread>
#include <vector>

namespace rankwright::storage {

/// Writes one visit. Whatever is wrong with the disk, nothing posted is lost while this lives: it
/// is tried again every second. What can't be written even at the end goes into a file beside the
/// book, or in the folder for temporary files, or as text to stderr, and stderr says so.
class BookWriter {
  public:
    /// The visit comes into the book with its first entry, or goes on when it is there already
    /// (`visit.last_serial` is acknowledged). The book is looked at at once, so that trouble is
    /// known before the first pipe. `between_tries` is for tests.
    BookWriter(std::filesystem::path book, visit::VisitRecord visit,
               Seconds between_tries = Seconds{1.0});
    /// Waits until what was posted is written, a few seconds at most.
    ~BookWriter();
    BookWriter(const BookWriter&) = delete;
    BookWriter& operator=(const BookWriter&) = delete;

    /// Never waits for the disk. Serials go on from `visit.last_serial`. [listening]
    void post(visit::BookEntry entry);
    /// The visit is over, once all that was posted is written. [any]
    void end_visit(visit::WallTime at);

    /// The highest serial that is on disk with all before it. [any]
    std::uint64_t acknowledged() const { return acknowledged_.load(); }
    /// How many entries were posted and aren't on disk yet. [any]
    std::size_t held() const { return held_.load(); }
    /// What stands between the entries and the book now, and what to do; empty when nothing does.
    /// [any]
    std::string trouble() const;
    /// Id of the visit under which the entries stand: another than was given only when that visit
    /// went on otherwise in another program. [any]
    std::string visit_id() const;

  private:
    // All of the following is the storage thread's.
    void work(const std::stop_token& stop);
    void take_posted();
    /// True when nothing is left to write.
    bool write();
    Result<void> write_what_is_left();
    void note_written();
    void rescue();

    const std::filesystem::path file_;
    const Seconds between_tries_;
    visit::VisitRecord visit_;
    std::optional<TuningBook> book_;
    bool begun_ = false;  ///< the visit is in the book
    std::vector<visit::BookEntry> left_;
    std::optional<visit::WallTime> left_end_;
    std::set<std::uint64_t> beyond_;  ///< on disk, with a gap before

    mutable std::mutex mutex_;  ///< of the following
    std::condition_variable_any posted_or_stopped_;
    std::vector<visit::BookEntry> posted_;
    std::optional<visit::WallTime> end_;
    std::string trouble_;
    std::string visit_id_;

    std::atomic<std::uint64_t> acknowledged_;
    std::atomic<std::size_t> held_{0};
    std::jthread thread_;  // last: it uses all of the above
};

}  // namespace rankwright::storage
