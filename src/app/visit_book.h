// Today's visit in the tuning book: begun, or gone on with, and written as the work goes.
#pragma once

#include "app/work.h"
#include "core/result.h"
#include "organ/instrument.h"
#include "storage/at_work.h"
#include "storage/book_writer.h"
#include "visit/record.h"
#include "visit/work_list.h"

#include <filesystem>
#include <map>
#include <memory>
#include <optional>
#include <string>

namespace rankwright::app {

/// What the file says now; empty when it can't be read.
std::optional<visit::KeptInstrument> instrument_now(const std::string& instrument_file);
/// A visit that begins now at the organ of that file, not in the book yet.
visit::VisitRecord visit_begun_now(const organ::Instrument& instrument,
                                   const std::string& instrument_file);

/// Belongs to the thread that makes it; what `book` gives is the session's.
class VisitBook {
  public:
    struct Options {
        std::filesystem::path file;
        std::string instrument_file;
        bool new_visit = false;  ///< don't go on with the one that isn't over
        /// A visit that nobody goes on with: others may be at work beside it.
        bool throwaway = false;
    };
    /// Goes on with the organ's visit that isn't over, or begins one. A book that can't be read, or
    /// in which another program is at work on the organ, fails with what to do; one that can't be
    /// written doesn't: the work goes on, and says so.
    static Result<std::unique_ptr<VisitBook>> open(const organ::Instrument& instrument,
                                                   const Options& options);

    /// What the visit has found so far.
    visit::Record record() const { return visit::Record{earlier_}; }
    /// For the session, while this lives.
    Book book();
    /// How each pipe stood when an earlier visit heard it last: as it was left, or else as it was
    /// found. Looked up anew; nothing where the book can't be read.
    std::map<PipeId, visit::KeptReading> last_time() const;
    const std::filesystem::path& file() const { return file_; }
    /// Under which it stands in the book. [any]
    std::string id() const { return writer_.visit_id(); }
    /// What earlier visits tell for the work list; nothing where the book can't be read.
    visit::ListHistory history(const organ::Instrument& instrument) const;
    /// The visit was begun before, at that time; empty for a new one.
    std::string resumed() const;

  private:
    VisitBook(const Options& options, std::optional<storage::AtWork> at_work,
              visit::VisitRecord visit, std::vector<visit::BookEntry> earlier);

    std::optional<storage::AtWork> at_work_;  ///< until all is written
    std::filesystem::path file_;
    visit::VisitRecord visit_;
    std::vector<visit::BookEntry> earlier_;
    storage::BookWriter writer_;
};

}  // namespace rankwright::app
