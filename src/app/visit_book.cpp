#include "app/visit_book.h"

#include "app/visit_list.h"
#include "storage/tuning_book.h"
#include "visit/wall_time.h"

#include <fstream>
#include <iterator>
#include <utility>

namespace rankwright::app {

namespace {

struct OpenVisit {
    visit::VisitRecord visit;
    std::vector<visit::BookEntry> earlier;
};

/// The visit to go on with; empty when there is none.
Result<std::optional<OpenVisit>> find_open_visit(const std::filesystem::path& file,
                                                 const std::string& organ) {
    const auto book = storage::TuningBook::open_existing(file);
    // Nothing there yet, or a folder that can't be read: the writer tries, and says what it finds.
    if (!book && book.error().kind == ErrorKind::not_found) return std::nullopt;
    if (!book) return tl::unexpected(book.error());
    auto visit = book->open_visit(organ);
    if (!visit) return tl::unexpected(visit.error());
    if (!*visit) return std::nullopt;
    auto earlier = book->entries((*visit)->id);
    if (!earlier) return tl::unexpected(earlier.error());
    return OpenVisit{**visit, std::move(*earlier)};
}

}  // namespace

std::optional<visit::KeptInstrument> instrument_now(const std::string& instrument_file) {
    std::ifstream in(instrument_file, std::ios::binary);
    std::string text{std::istreambuf_iterator<char>(in), {}};
    if (!in || text.empty()) return std::nullopt;
    return visit::KeptInstrument{std::move(text), visit::wall_now()};
}

visit::VisitRecord visit_begun_now(const organ::Instrument& instrument,
                                   const std::string& instrument_file) {
    visit::VisitRecord visit;
    visit.id = storage::new_visit_id();
    visit.organ = slug(instrument.name);
    visit.organ_name = instrument.name;
    visit.instrument_file = instrument_file;
    visit.started = visit::wall_now();
    visit.instrument = instrument_now(instrument_file);
    return visit;
}

Result<std::unique_ptr<VisitBook>> VisitBook::open(const organ::Instrument& instrument,
                                                   const Options& options) {
    const std::string organ = slug(instrument.name);
    std::optional<storage::AtWork> at_work;
    if (!options.throwaway) {
        auto begun = storage::AtWork::begin(options.file, organ);
        if (!begun) return tl::unexpected(begun.error());
        at_work = std::move(*begun);
    }
    std::optional<OpenVisit> found;
    if (!options.new_visit) {
        auto open = find_open_visit(options.file, organ);
        if (!open) return tl::unexpected(open.error());
        found = std::move(*open);
    }
    if (found) {
        // The file may have been changed since the visit was begun.
        found->visit.instrument = instrument_now(options.instrument_file);
    } else {
        found.emplace();
        found->visit = visit_begun_now(instrument, options.instrument_file);
    }
    return std::unique_ptr<VisitBook>(new VisitBook(
        options, std::move(at_work), std::move(found->visit), std::move(found->earlier)));
}

VisitBook::VisitBook(const Options& options, std::optional<storage::AtWork> at_work,
                     visit::VisitRecord visit, std::vector<visit::BookEntry> earlier)
    : at_work_(std::move(at_work)),
      file_(options.file),
      visit_(std::move(visit)),
      earlier_(std::move(earlier)),
      writer_(options.file, visit_) {}

Book VisitBook::book() {
    return {[this](visit::BookEntry entry) { writer_.post(std::move(entry)); },
            [this] { return writer_.acknowledged(); }, [this] { return writer_.trouble(); },
            [this] { writer_.end_visit(visit::wall_now()); }};
}

std::map<PipeId, visit::KeptReading> VisitBook::last_time() const {
    std::map<PipeId, visit::KeptReading> readings;
    const auto book = storage::TuningBook::open_existing(file_);
    if (!book) return readings;
    const auto figures = book->last_figures(visit_.organ, visit_.id);
    if (!figures) return readings;
    for (const visit::PipeFigures& pipe : *figures)
        for (const auto* one : {&pipe.after, &pipe.before, &pipe.survey})
            if (*one) {
                readings.emplace(pipe.pipe, (*one)->reading);
                break;
            }
    return readings;
}

visit::ListHistory VisitBook::history(const organ::Instrument& instrument) const {
    const auto book = storage::TuningBook::open_existing(file_);
    if (!book) return {};
    return history_before(*book, visit_, instrument).value_or(visit::ListHistory{});
}

std::string VisitBook::resumed() const {
    return earlier_.empty() ? std::string() : visit::to_text(visit_.started);
}

}  // namespace rankwright::app
