#include "app/visit_pages.h"

#include "app/book_report.h"
#include "app/visit_list.h"
#include "core/pipe_id.h"
#include "report/call_sheet.h"
#include "report/report_page.h"
#include "storage/durable_file.h"
#include "storage/instrument_file.h"
#include "visit/wall_time.h"

#include <cstdlib>
#include <system_error>

namespace rankwright::app {

namespace {

struct Page {
    std::string file;  ///< its name
    std::string html;
};

Result<Page> report_page(const storage::TuningBook& book, const visit::VisitRecord& visit,
                         const organ::Instrument& instrument) {
    const auto made = report_of(book, visit, &instrument);
    if (!made) return tl::unexpected(made.error());
    return Page{report_file_name(book, visit), report::to_html(*made)};
}

Result<Page> calls_page(const storage::TuningBook& book, const visit::VisitRecord& visit,
                        const organ::Instrument& instrument) {
    const auto found = list_of(book, visit, instrument);
    if (!found) return tl::unexpected(found.error());
    report::CallSheet sheet =
        report::call_sheet(instrument, visit::for_the_feet(instrument, found->list));
    if (sheet.groups.empty())
        return fail(ErrorKind::nothing_heard, "Nothing is on the list: there is nothing to call.");
    sheet.date = report::local_date(visit::wall_now());
    return Page{slug(visit.organ) + "-calls-" + sheet.date + ".html", report::to_html(sheet)};
}

/// Where it was written.
Result<std::filesystem::path> put_away(const Page& page) {
    std::error_code ignored;
    std::filesystem::path file = std::filesystem::current_path(ignored) / page.file;
    auto written = storage::write_durably(file, page.html);
    const char* home = std::getenv("HOME");
    if (!written && home != nullptr) {
        file = std::filesystem::path(home) / page.file;
        written = storage::write_durably(file, page.html);
    }
    if (!written) return tl::unexpected(written.error());
    return file;
}

}  // namespace

std::string report_file_name(const storage::TuningBook& book, const visit::VisitRecord& visit) {
    const std::string day = report::local_date(visit.started);
    int number = 1;
    const auto visits = book.visits(visit.organ);
    if (visits)
        for (const visit::VisitRecord& one : *visits) {
            if (one.id == visit.id) break;
            number += report::local_date(one.started) == day ? 1 : 0;
        }
    return slug(visit.organ) + "-" + day + (number > 1 ? "-" + std::to_string(number) : "") +
           ".html";
}

std::string VisitPages::write(visit::WritePage::What what) const {
    if (!visit_)
        return "Nothing is kept in a tuning book here, so there is nothing to write: start with "
               "--book FILE.";
    const auto book = storage::TuningBook::open_existing(book_);
    if (!book) return "Not written: " + storage::to_line(book.error());
    const auto visit = book->visit(visit_());
    if (!visit) return "Not written: " + storage::to_line(visit.error());
    if (!*visit) return "Not written: nothing of this visit is in the book yet.";
    const auto page = what == visit::WritePage::What::report
                          ? report_page(*book, **visit, instrument_)
                          : calls_page(*book, **visit, instrument_);
    if (!page) return page.error().message;
    const auto file = put_away(*page);
    if (!file) return "Not written: " + storage::to_line(file.error());
    return "Written: " + file->string();
}

}  // namespace rankwright::app
