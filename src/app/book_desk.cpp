#include "app/book_desk.h"

#include "app/book_places.h"
#include "core/text.h"
#include "report/report_page.h"
#include "storage/book_exchange.h"
#include "storage/instrument_file.h"
#include "visit/wall_time.h"

#include <system_error>
#include <utility>

namespace rankwright::app {

namespace {

namespace fs = std::filesystem;
using What = visit::CareForBook::What;

const char* busy_words(What what) {
    switch (what) {
        case What::look:
            return "";
        case What::back_up:
            return "copying the book …";
        case What::merge:
            return "merging the other book …";
        case What::import:
            return "taking in the file …";
        case What::export_json:
        case What::export_csv:
            return "writing …";
        case What::check:
            return "reading all of the book …";
    }
    return "";
}

/// "tuning-book-2026-11-26.sqlite" in that folder; a name that isn't taken yet.
fs::path new_file(const fs::path& folder, const std::string& ending) {
    const std::string day = "tuning-book-" + report::local_date(visit::wall_now());
    std::error_code ignored;
    fs::path file = folder / (day + ending);
    for (int next = 2; fs::exists(file, ignored); ++next)
        file = folder / text_of({day, "-", std::to_string(next), ending});
    return file;
}

/// A folder gets a new file with a name of its day; any other name is the file's own.
fs::path file_to_write(const std::string& named, const std::string& ending) {
    std::error_code ignored;
    return fs::is_directory(named, ignored) ? new_file(named, ending) : fs::path(named);
}

Result<std::string> taken_in(const Result<storage::Moved>& moved, const std::string& from) {
    if (!moved) return tl::unexpected(moved.error());
    const std::string name = fs::path(from).filename().string();
    const std::string visits = how_many(moved->visits, "visit", "visits");
    if (moved->entries == 0)
        return text_of({"Nothing new in ", name, ": this book has it all (", visits, ")."});
    return text_of({"Taken in from ", name, ": ",
                    how_many(moved->entries, "new entry", "new entries"), " (", visits,
                    " looked at). The work list follows when the organ is opened "
                    "again."});
}

Result<std::string> written(const Result<storage::Moved>& moved, const fs::path& file) {
    if (!moved) return tl::unexpected(moved.error());
    return text_of({"Written: ", file.string(), ", ", how_many(moved->visits, "visit", "visits"),
                    ", ", how_many(moved->entries, "entry", "entries"), "."});
}

Result<std::string> do_it(const fs::path& file, const visit::CareForBook& deed) {
    const bool into = deed.what == What::merge || deed.what == What::import;
    auto book = into ? storage::TuningBook::open(file) : storage::TuningBook::open_existing(file);
    if (!book) return tl::unexpected(book.error());
    switch (deed.what) {
        case What::look:
            break;
        case What::back_up: {
            const fs::path copy = file_to_write(deed.file, ".sqlite");
            if (auto done = storage::backup(*book, copy); !done)
                return tl::unexpected(done.error());
            return text_of({"Copied: ", copy.string(), " is a sound copy of the book."});
        }
        case What::merge: {
            const auto other = storage::TuningBook::open_existing(deed.file);
            if (!other) return tl::unexpected(other.error());
            return taken_in(storage::merge(*book, *other), deed.file);
        }
        case What::import:
            return taken_in(storage::import_json(*book, deed.file), deed.file);
        case What::export_json: {
            const fs::path to = file_to_write(deed.file, ".json");
            return written(storage::export_json(*book, to, {}), to);
        }
        case What::export_csv: {
            const fs::path to = file_to_write(deed.file, ".csv");
            return written(storage::export_csv(*book, to, {}), to);
        }
        case What::check: {
            const auto faults = storage::faults_of(*book);
            if (!faults) return tl::unexpected(faults.error());
            if (faults->empty()) return std::string("The book is sound and whole.");
            return fail(ErrorKind::storage, text_of({how_many(faults->size(), "fault", "faults"),
                                                     ", the first: ", faults->front()}));
        }
    }
    return std::string();
}

}  // namespace

BookDesk::BookDesk(const fs::path& book)
    : aside_([book](const visit::CareForBook& deed) { return answer(book, deed); }) {
    view_.book = book.string();
}

BookDesk::Answer BookDesk::answer(const fs::path& book, const visit::CareForBook& deed) {
    Answer answer{deed.what, {}};
    if (deed.what == What::look) {
        BookPlaces places = find_book_places(book);
        answer.found.folders = std::move(places.folders);
        answer.found.books = std::move(places.books);
        answer.found.exports = std::move(places.exports);
        return answer;
    }
    auto said = do_it(book, deed);
    answer.found.failed = !said;
    answer.found.said =
        said ? std::move(*said) : "Nothing was done: " + storage::to_line(said.error());
    return answer;
}

void BookDesk::ask(const visit::CareForBook& deed) {
    if (!view_.busy.empty() || view_.book.empty()) return;
    view_.busy = busy_words(deed.what);
    if (deed.what != What::look) view_.said.clear();
    aside_.ask(deed);
}

const overlay::BookView& BookDesk::view() {
    if (auto answer = aside_.answer()) {
        if (answer->what == What::look) {
            view_.folders = std::move(answer->found.folders);
            view_.books = std::move(answer->found.books);
            view_.exports = std::move(answer->found.exports);
        } else {
            view_.busy.clear();
            view_.said = std::move(answer->found.said);
            view_.failed = answer->found.failed;
        }
    }
    return view_;
}

}  // namespace rankwright::app
