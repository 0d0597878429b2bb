#include "core/text.h"
#include "storage/book_exchange.h"
#include "storage/book_json.h"
#include "storage/book_schema.h"
#include "storage/durable_file.h"
#include "storage/visit_rows.h"

#include <array>
#include <fstream>
#include <functional>
#include <set>
#include <system_error>

#include <SQLiteCpp/SQLiteCpp.h>

namespace rankwright::storage {

namespace {

using namespace visit;
namespace fs = std::filesystem;

/// Of an entry's JSON, and what goes before and after it.
constexpr std::array kColumns{"visit",
                              "organ",
                              "organ_name",
                              "serial",
                              "at",
                              "kind",
                              "withdrawn",
                              "pipe",
                              "moment",
                              "pitch_hz",
                              "target_hz",
                              "deviation_cents",
                              "uncertainty_cents",
                              "heard_s",
                              "settled",
                              "reference",
                              "reference_deviation_cents",
                              "reference_uncertainty_cents",
                              "beat_hz",
                              "air_c",
                              "humidity",
                              "place",
                              "a_hz",
                              "measured",
                              "fault",
                              "out_of_reach",
                              "state",
                              "division",
                              "stop",
                              "key",
                              "complaint",
                              "of",
                              "words"};

/// RFC 4180, 2: quotes around what has quotes, commas or ends of lines, and quotes doubled.
std::string field(const std::string& text) {
    if (text.find_first_of("\",\r\n") == std::string::npos) return text;
    std::string quoted = "\"";
    for (const char c : text)
        quoted += c == '"' ? "\"\"" : std::string(1, c);
    return quoted + "\"";
}

std::string csv_line(const Json& json) {
    std::string line;
    for (const char* column : kColumns) {
        if (column != kColumns.front()) line += ',';
        const auto value = json.find(column);
        if (value == json.end() || value->is_null()) continue;
        line += field(value->is_string() ? value->get<std::string>() : to_line(*value));
    }
    return line + "\r\n";
}

/// The serials of a visit that count no more.
std::set<std::uint64_t> withdrawn(SQLite::Database& book, std::int64_t visit) {
    SQLite::Statement row(book,
                          "SELECT w.of_serial FROM withdrawal w WHERE w.of_visit = ? AND NOT "
                          "EXISTS (SELECT 1 FROM withdrawal x WHERE x.of_visit = w.visit AND "
                          "x.of_serial = w.serial)");
    row.bind(1, visit);
    std::set<std::uint64_t> serials;
    while (row.executeStep())
        serials.insert(static_cast<std::uint64_t>(row.getColumn(0).getInt64()));
    return serials;
}

std::string csv_lines(SQLite::Database& book, const VisitRow& visit,
                      const std::vector<BookEntry>& entries) {
    const auto gone = withdrawn(book, visit.number);
    std::string lines;
    for (const BookEntry& entry : entries) {
        Json json = entry_json(entry);
        json["visit"] = visit.record.id;
        json["organ"] = visit.record.organ;
        json["organ_name"] = visit.record.organ_name;
        json["withdrawn"] = gone.contains(entry.serial);
        lines += csv_line(json);
    }
    return lines;
}

std::vector<VisitRow> selected(SQLite::Database& book, const Selection& selection) {
    std::vector<VisitRow> visits;
    if (!selection.visit) {
        visits = list_visits(book, selection.organ);
    } else if (const auto visit = find_visit(book, *selection.visit)) {
        visits = line_of(book, *visit);  // without what it goes on from, it can't be read again
    }
    // What a visit branches off from comes first.
    std::sort(visits.begin(), visits.end(),
              [](const VisitRow& a, const VisitRow& b) { return a.number < b.number; });
    return visits;
}

Error cant_write(const fs::path& file) {
    return {ErrorKind::storage,
            "can't be written: look whether its folder is there, can be written and has room",
            Place{file.string()}};
}

using VisitText = std::function<std::string(SQLite::Database&, const VisitRow&,
                                            const std::vector<BookEntry>&, bool first)>;

/// Visit by visit, so that a large book needs little memory.
Result<Moved> write_visits(const TuningBook& book, const fs::path& file, const Selection& selection,
                           const std::string& head, const VisitText& text,
                           const std::string& tail) {
    const fs::path part = file.string() + ".part";
    std::ofstream out(part, std::ios::binary);
    if (!out) return tl::unexpected<Error>(cant_write(file));
    auto moved = attempt(book.file(), [&] {
        SQLite::Database& database = book.database();
        const SQLite::Transaction as_it_stands(database);
        Moved written;
        out << head;
        for (VisitRow& visit : selected(database, selection)) {
            visit.record.instrument = instrument_of(database, visit);
            const auto entries = entries_of(database, visit.number);
            out << text(database, visit, entries, written.visits == 0);
            ++written.visits;
            written.entries += entries.size();
        }
        out << tail;
        return written;
    });
    out.close();
    std::error_code ignored;
    if (!moved || !out) {
        fs::remove(part, ignored);
        return moved ? tl::unexpected<Error>(cant_write(file)) : moved;
    }
    if (auto placed = move_into_place(part, file); !placed)
        return tl::unexpected<Error>(placed.error());
    return moved;
}

}  // namespace

Result<Moved> export_json(const TuningBook& book, const fs::path& file,
                          const Selection& selection) {
    const VisitText text = [](SQLite::Database&, const VisitRow& visit,
                              const std::vector<BookEntry>& entries, bool first) {
        return (first ? "" : kBetweenVisits) + visit_line(visit.record, entries);
    };
    return write_visits(book, file, selection, kDocumentHead, text, kDocumentTail);
}

Result<Moved> export_csv(const TuningBook& book, const fs::path& file, const Selection& selection) {
    std::string head;
    for (const char* column : kColumns)
        head += (head.empty() ? "" : ",") + std::string(column);
    const VisitText text = [](SQLite::Database& database, const VisitRow& visit,
                              const std::vector<BookEntry>& entries,
                              bool) { return csv_lines(database, visit, entries); };
    return write_visits(book, file, selection, head + "\r\n", text, "");
}

}  // namespace rankwright::storage
