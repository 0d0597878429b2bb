// The pages that are written while the work goes on: the report, and the helper's calls.
#pragma once

#include "organ/instrument.h"
#include "storage/tuning_book.h"
#include "visit/book_record.h"
#include "visit/command.h"

#include <filesystem>
#include <functional>
#include <string>

namespace rankwright::app {

/// "emberlow-2026-11-26.html": where a visit's report goes unless told otherwise. Of several visits
/// of one day the second's ends with -2, and so on.
std::string report_file_name(const storage::TuningBook& book, const visit::VisitRecord& visit);

/// Reads the disk: not for the window thread. The instrument must outlive it.
class VisitPages {
  public:
    /// `visit` tells the visit's id as it stands in the book; without it nothing can be written.
    VisitPages(const organ::Instrument& instrument, std::filesystem::path book,
               std::function<std::string()> visit)
        : instrument_(instrument), book_(std::move(book)), visit_(std::move(visit)) {}

    /// Writes it from what the book holds now, in the folder one works in, or else at home. Returns
    /// what the screen has to say: where it is, or why it isn't there.
    std::string write(visit::WritePage::What what) const;

  private:
    const organ::Instrument& instrument_;
    std::filesystem::path book_;
    std::function<std::string()> visit_;
};

}  // namespace rankwright::app
