#include "app/visit_list.h"

#include "app/book_report.h"

#include <utility>

namespace rankwright::app {

Result<visit::ListHistory> history_before(const storage::TuningBook& book,
                                          const visit::VisitRecord& visit,
                                          const organ::Instrument& instrument) {
    visit::ListHistory history;
    auto left = left_before(book, visit);
    if (!left) return tl::unexpected(left.error());
    history.left = std::move(*left);
    const auto last = visit_before(book, visit);
    if (!last) return tl::unexpected(last.error());
    if (!*last) return history;
    const auto entries = book.entries((*last)->id);
    if (!entries) return tl::unexpected(entries.error());
    history.open = visit::left_open(*entries);
    const auto found = visit::readings_of((*last)->id, *entries).found;
    const auto before = left_before(book, **last, found);
    if (!before) return tl::unexpected(before.error());
    history.earlier = visit::drift_between(*before, found, &instrument);
    return history;
}

Result<VisitList> list_of(const storage::TuningBook& book, const visit::VisitRecord& visit,
                          const organ::Instrument& instrument) {
    auto entries = book.entries(visit.id);
    if (!entries) return tl::unexpected(entries.error());
    const auto history = history_before(book, visit, instrument);
    if (!history) return tl::unexpected(history.error());
    visit::WorkList list = visit::work_list(instrument, *entries, *history);
    return VisitList{visit, std::move(*entries), std::move(list)};
}

Result<VisitList> list_in(const std::filesystem::path& file, const organ::Instrument& instrument) {
    const auto book = storage::TuningBook::open_existing(file);
    if (!book && book.error().kind == ErrorKind::not_found) return VisitList{};
    if (!book) return tl::unexpected(book.error());
    const auto open = book->open_visit(slug(instrument.name));
    if (!open) return tl::unexpected(open.error());
    if (*open) return list_of(*book, **open, instrument);
    visit::VisitRecord to_come;
    to_come.organ = slug(instrument.name);
    to_come.started = visit::WallTime::max();
    const auto history = history_before(*book, to_come, instrument);
    if (!history) return tl::unexpected(history.error());
    return VisitList{std::nullopt, {}, visit::work_list(instrument, {}, *history)};
}

}  // namespace rankwright::app
