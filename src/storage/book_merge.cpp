#include "core/text.h"
#include "storage/book_exchange.h"
#include "storage/book_json.h"
#include "storage/book_schema.h"
#include "storage/visit_rows.h"

#include <algorithm>
#include <fstream>
#include <iterator>
#include <map>
#include <span>
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

Error wrong_file(const fs::path& file, std::string_view what) {
    return {ErrorKind::bad_input,
            text_of({what,
                     ": nothing was taken in; give a file that `rankwright book export` "
                     "or the program itself wrote"}),
            Place{file.string()}};
}

Result<Json> read_document(const fs::path& file) {
    std::ifstream in(file, std::ios::binary);
    if (!in)
        return tl::unexpected<Error>(Error{
            ErrorKind::not_found, "can't be read: look whether it is there", Place{file.string()}});
    Json document;
    try {
        document = Json::parse(in);
    } catch (const Json::exception& error) {
        return tl::unexpected<Error>(
            wrong_file(file, text_of({"isn't whole JSON (", error.what(), ")"})));
    }
    if (!document.is_object() || document.value("format", Json()) != "rankwright tuning book" ||
        !document.contains("visits") || !document["visits"].is_array())
        return tl::unexpected<Error>(wrong_file(file, "isn't an exported tuning book"));
    if (document.value("version", Json()) != 1)
        return tl::unexpected<Error>(
            wrong_file(file, "was written by a newer Rankwright than this"));
    return document;
}

Result<std::vector<BookEntry>> parse_entries(const Json& visit) {
    if (!visit.contains("entries") || !visit["entries"].is_array())
        return fail(ErrorKind::bad_input, "a visit has no list of entries");
    std::vector<BookEntry> entries;
    for (const Json& json : visit["entries"]) {
        auto entry = parse_entry(json);
        if (!entry) return tl::unexpected<Error>(entry.error());
        entries.push_back(std::move(*entry));
    }
    std::stable_sort(entries.begin(), entries.end(),
                     [](const BookEntry& a, const BookEntry& b) { return a.serial < b.serial; });
    return entries;
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
    while (!own.empty() && !all.entries.empty() && all.entries.back().serial >= own.front().serial)
        all.entries.pop_back();
    std::move(own.begin(), own.end(), std::back_inserter(all.entries));
    all.visit = std::move(visit);
    return all;
}

}  // namespace

Result<Moved> import_json(TuningBook& book, const fs::path& file) {
    const auto document = read_document(file);
    if (!document) return tl::unexpected<Error>(document.error());
    return attempt(
               book.file(),
               [&]() -> Result<Moved> {
                   SQLite::Database& database = book.database();
                   SQLite::Transaction transaction(database,
                                                   SQLite::TransactionBehavior::IMMEDIATE);
                   std::map<std::string, WholeVisit> before;
                   Moved moved;
                   for (const Json& json : (*document)["visits"]) {
                       auto visit = parse_visit(json);
                       if (!visit)
                           return tl::unexpected<Error>(wrong_file(file, visit.error().message));
                       auto own = parse_entries(json);
                       if (!own)
                           return tl::unexpected<Error>(wrong_file(file, own.error().message));
                       auto all = whole(database, before, *visit, std::move(*own));
                       if (!all)
                           return tl::unexpected<Error>(wrong_file(file, all.error().message));
                       moved.entries += take_in(database, *all);
                       ++moved.visits;
                       before[visit->id] = std::move(*all);
                   }
                   transaction.commit();
                   return moved;
               })
        .and_then([](Result<Moved> moved) { return moved; });
}

Result<Moved> merge(TuningBook& book, const TuningBook& other) {
    // What goes wrong with the other book is told of the other.
    const auto visits = attempt(other.file(), [&] { return list_visits(other.database(), {}); });
    if (!visits) return tl::unexpected<Error>(visits.error());
    auto in_order = *visits;
    // What a visit branches off from has come into that book before it.
    std::sort(in_order.begin(), in_order.end(),
              [](const VisitRow& a, const VisitRow& b) { return a.number < b.number; });
    return attempt(book.file(),
                   [&]() -> Result<Moved> {
                       SQLite::Transaction transaction(book.database(),
                                                       SQLite::TransactionBehavior::IMMEDIATE);
                       Moved moved;
                       for (const VisitRow& visit : in_order) {
                           const auto read = attempt(other.file(), [&] {
                               return WholeVisit{visit.record,
                                                 line_of(other.database(), visit).front().record,
                                                 line_entries(other.database(), visit)};
                           });
                           if (!read) return tl::unexpected<Error>(read.error());
                           moved.entries += take_in(book.database(), *read);
                           ++moved.visits;
                       }
                       transaction.commit();
                       return moved;
                   })
        .and_then([](Result<Moved> moved) { return moved; });
}

}  // namespace rankwright::storage
