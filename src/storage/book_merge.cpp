#include "core/text.h"
#include "storage/book_exchange.h"
#include "storage/book_json.h"
#include "storage/book_schema.h"
#include "storage/visit_rows.h"

#include <algorithm>
#include <fstream>
#include <functional>
#include <iterator>
#include <map>
#include <set>
#include <span>
#include <tuple>
#include <utility>

#include <SQLiteCpp/SQLiteCpp.h>

namespace rankwright::storage {

namespace {

using namespace visit;
namespace fs = std::filesystem;

/// A visit with what it went on from: `root` is the first of its line.
struct WholeVisit {
    VisitRecord visit;
    VisitRecord root;
    std::vector<BookEntry> entries;
};

/// How many entries weren't there. What a visit branches off from must have been taken in before.
std::size_t take_in(SQLite::Database& book, const WholeVisit& whole) {
    VisitRecord root = whole.root;
    root.ended.reset();  // it may have gone on here
    Landing landing(book, keep_visit(book, root));
    for (const BookEntry& entry : whole.entries)
        landing.add(entry);
    if (whole.visit.ended) end_visit(book, landing.visit().number, *whole.visit.ended);
    return landing.added();
}

WholeVisit whole_of(SQLite::Database& book, const VisitRow& visit) {
    WholeVisit whole{visit.record, line_of(book, visit).front().record, line_entries(book, visit)};
    whole.root.instrument = instrument_of(book, visit);
    return whole;
}

/// Of readings, which are most of a book, at a glance. False: they may yet be alike.
bool surely_alike(const BookEntry& a, const BookEntry& b) {
    const auto* one = std::get_if<KeptReading>(&a.matter);
    const auto* other = std::get_if<KeptReading>(&b.matter);
    if (one == nullptr || other == nullptr || a.at != b.at) return false;
    const auto parts = [](const KeptReading& r) {
        return std::tie(r.pipe, r.moment, r.pitch, r.target, r.deviation, r.uncertainty, r.heard,
                        r.settled, r.reference, r.reference_deviation, r.reference_uncertainty,
                        r.beat, r.air);
    };
    return parts(*one) == parts(*other);
}

/// Nothing of it would be new.
bool has_all(SQLite::Database& book, const WholeVisit& whole) {
    const auto here = find_visit(book, whole.visit.id);
    if (!here || here->record.organ_name != whole.visit.organ_name) return false;
    if (whole.visit.ended && (!here->record.ended || *here->record.ended < *whole.visit.ended))
        return false;
    if (const auto& instrument = whole.root.instrument) {
        const auto kept = instrument_of(book, *here);
        if (!kept || kept->text != instrument->text || kept->at != instrument->at) return false;
    }
    std::map<std::uint64_t, BookEntry> there;
    auto entries = line_entries(book, *here);
    for (BookEntry& entry : entries)
        there.emplace(entry.serial, std::move(entry));
    return std::all_of(whole.entries.begin(), whole.entries.end(), [&](const BookEntry& entry) {
        const auto same = there.find(entry.serial);
        return same != there.end() &&
               (surely_alike(same->second, entry) ||
                to_line(entry_json(same->second)) == to_line(entry_json(entry)));
    });
}

Error wrong_file(const fs::path& file, std::string_view what) {
    return {ErrorKind::bad_input,
            text_of({what,
                     ": nothing was taken in; give a file that `rankwright book export` "
                     "or the program itself wrote"}),
            Place{file.string()}};
}

/// Ends the reading of a file that can't be taken in.
struct WrongFile {
    Error error;
};

/// Hands over a document's visits one after the other, however large it is: nothing of it stays in
/// memory but the visit in hand.
class DocumentReader {
  public:
    using Take = std::function<void(const Json& visit, std::vector<BookEntry> entries)>;

    /// `take` may throw WrongFile. Without entries the file is only looked over.
    DocumentReader(const fs::path& file, bool with_entries, Take take)
        : file_(file), with_entries_(with_entries), take_(std::move(take)) {}

    /// Throws WrongFile.
    void read() {
        std::ifstream in(file_, std::ios::binary);
        if (!in)
            throw WrongFile{{ErrorKind::not_found, "can't be read: look whether it is there",
                             Place{file_.string()}}};
        Json document;
        try {
            document = Json::parse(in, [this](int depth, Json::parse_event_t event, Json& value) {
                return keep(depth, event, value);
            });
        } catch (const Json::exception& error) {
            throw wrong(text_of({"isn't whole JSON (", error.what(), ")"}));
        }
        if (!document.is_object() || document.value("format", Json()) != "rankwright tuning book" ||
            !document.contains("visits") || !document["visits"].is_array())
            throw wrong("isn't an exported tuning book");
        if (document.value("version", Json()) != 1)
            throw wrong("was written by a newer Rankwright than this");
    }

  private:
    // Where a visit and an entry stand: {"visits":[{"entries":[{…}]}]}.
    static constexpr int kVisitDepth = 2;
    static constexpr int kEntryDepth = 4;

    WrongFile wrong(std::string_view what) const { return {wrong_file(file_, what)}; }

    /// Whether a part that was read stays in memory.
    bool keep(int depth, Json::parse_event_t event, Json& value) {
        using Event = Json::parse_event_t;
        if (event == Event::key && depth == 1) part_ = value.get<std::string>();
        if (event == Event::key && depth == kVisitDepth + 1)
            part_of_visit_ = value.get<std::string>();
        if (part_ != "visits") return true;
        if (event == Event::array_end && depth == kVisitDepth - 1 && !value.empty())
            throw wrong("a visit isn't an object");
        if (event == Event::array_end && depth == kVisitDepth + 1 && part_of_visit_ == "entries")
            has_entries_ = true;
        if (event == Event::object_end && depth == kEntryDepth && part_of_visit_ == "entries") {
            if (!with_entries_) return false;
            auto entry = parse_entry(value);
            if (!entry) throw wrong(entry.error().message);
            entries_.push_back(std::move(*entry));
            return false;
        }
        if (event != Event::object_end || depth != kVisitDepth) return true;
        std::stable_sort(
            entries_.begin(), entries_.end(),
            [](const BookEntry& a, const BookEntry& b) { return a.serial < b.serial; });
        take_(value, std::exchange(entries_, {}));
        if (!with_entries_) return false;
        if (!std::exchange(has_entries_, false)) throw wrong("a visit has no list of entries");
        if (!value["entries"].empty()) throw wrong("an entry isn't an object");
        return false;
    }

    fs::path file_;
    bool with_entries_;
    Take take_;
    std::string part_;           ///< the key in hand, of the document
    std::string part_of_visit_;  ///< and of the visit
    bool has_entries_ = false;
    std::vector<BookEntry> entries_;
};

/// The visits that others in the document go on from.
std::set<std::string> parents_in(const fs::path& file) {
    std::set<std::string> parents;
    DocumentReader(file, false, [&](const Json& visit, const std::vector<BookEntry>&) {
        if (visit.contains("branch_of") && visit["branch_of"].is_string())
            parents.insert(visit["branch_of"].get<std::string>());
    }).read();
    return parents;
}

/// Adds what the visit went on from, which stands before it in the file or is in the book.
Result<WholeVisit> whole(SQLite::Database& book, const std::map<std::string, WholeVisit>& before,
                         VisitRecord visit, std::vector<BookEntry> own) {
    if (visit.branch_of.empty()) return WholeVisit{visit, visit, std::move(own)};
    WholeVisit all;
    if (const auto known = before.find(visit.branch_of); known != before.end()) {
        all = known->second;
    } else if (const auto row = find_visit(book, visit.branch_of)) {
        all.root = line_of(book, *row).front().record;
        all.entries = line_entries(book, *row);
    } else {
        return fail(ErrorKind::bad_input, text_of({"visit ", visit.id,
                                                   " goes on from one that is neither there nor in "
                                                   "the book"}));
    }
    if (visit.instrument) all.root.instrument = visit.instrument;
    while (!own.empty() && !all.entries.empty() && all.entries.back().serial >= own.front().serial)
        all.entries.pop_back();
    std::move(own.begin(), own.end(), std::back_inserter(all.entries));
    all.visit = std::move(visit);
    return all;
}

}  // namespace

Result<Moved> import_json(TuningBook& book, const fs::path& file) {
    try {
        // What others go on from is kept in memory while it is needed; the rest isn't.
        const std::set<std::string> parents = parents_in(file);
        return attempt(book.file(), [&] {
            SQLite::Database& database = book.database();
            SQLite::Transaction transaction(database, SQLite::TransactionBehavior::IMMEDIATE);
            std::map<std::string, WholeVisit> before;
            Moved moved;
            DocumentReader(file, true, [&](const Json& json, std::vector<BookEntry> own) {
                const auto visit = parse_visit(json);
                if (!visit) throw WrongFile{wrong_file(file, visit.error().message)};
                auto all = whole(database, before, *visit, std::move(own));
                if (!all) throw WrongFile{wrong_file(file, all.error().message)};
                moved.entries += take_in(database, *all);
                ++moved.visits;
                if (parents.count(visit->id) > 0) before[visit->id] = std::move(*all);
            }).read();
            transaction.commit();
            return moved;
        });
    } catch (const WrongFile& wrong) {
        return tl::unexpected<Error>(wrong.error);
    }
}

Result<Moved> merge(TuningBook& book, const TuningBook& other) {
    // What goes wrong with the other book is told of the other.
    const auto visits = attempt(other.file(), [&] { return list_visits(other.database(), {}); });
    if (!visits) return tl::unexpected<Error>(visits.error());
    auto in_order = *visits;
    // What a visit branches off from has come into that book before it.
    std::sort(in_order.begin(), in_order.end(),
              [](const VisitRow& a, const VisitRow& b) { return a.number < b.number; });
    // Most is mostly here already: to find that out, the book isn't held against those who write.
    std::vector<VisitRow> missing;
    for (const VisitRow& visit : in_order) {
        const auto read = attempt(other.file(), [&] { return whole_of(other.database(), visit); });
        if (!read) return tl::unexpected<Error>(read.error());
        const auto here = attempt(book.file(), [&] { return has_all(book.database(), *read); });
        if (!here) return tl::unexpected<Error>(here.error());
        if (!*here) missing.push_back(visit);
    }
    if (missing.empty()) return Moved{in_order.size(), 0};
    return attempt(book.file(),
                   [&]() -> Result<Moved> {
                       SQLite::Transaction transaction(book.database(),
                                                       SQLite::TransactionBehavior::IMMEDIATE);
                       Moved moved{in_order.size(), 0};
                       for (const VisitRow& visit : missing) {
                           const auto read = attempt(
                               other.file(), [&] { return whole_of(other.database(), visit); });
                           if (!read) return tl::unexpected<Error>(read.error());
                           moved.entries += take_in(book.database(), *read);
                       }
                       transaction.commit();
                       return moved;
                   })
        .and_then([](Result<Moved> moved) { return moved; });
}

}  // namespace rankwright::storage
