#include "storage/visit_rows.h"

#include "storage/book_json.h"

#include <algorithm>
#include <array>
#include <cstdio>
#include <iterator>
#include <string_view>
#include <utility>

namespace rankwright::storage {

namespace {

using namespace visit;

constexpr const char* kVisits =
    "SELECT v.id, v.organ, v.branch_of, v.first_serial, v.uuid, o.slug, o.name, "
    "v.instrument_file, v.started, v.ended, "
    "(SELECT max(serial) FROM entry e WHERE e.visit = v.id), p.uuid "
    "FROM visit v JOIN organ o ON o.id = v.organ LEFT JOIN visit p ON p.id = v.branch_of ";

VisitRow visit_row(SQLite::Statement& row) {
    VisitRow visit;
    visit.number = row.getColumn(0).getInt64();
    visit.organ = row.getColumn(1).getInt64();
    if (!row.getColumn(2).isNull()) visit.branch_of = row.getColumn(2).getInt64();
    visit.first_serial = static_cast<std::uint64_t>(row.getColumn(3).getInt64());
    visit.record.id = row.getColumn(4).getString();
    visit.record.organ = row.getColumn(5).getString();
    visit.record.organ_name = row.getColumn(6).getString();
    visit.record.instrument_file = row.getColumn(7).getString();
    visit.record.started = wall_time(row.getColumn(8).getInt64());
    if (!row.getColumn(9).isNull()) visit.record.ended = wall_time(row.getColumn(9).getInt64());
    // A branch without entries yet stands where it branches off.
    visit.record.last_serial = row.getColumn(10).isNull()
                                   ? visit.first_serial - 1
                                   : static_cast<std::uint64_t>(row.getColumn(10).getInt64());
    visit.record.branch_of = row.getColumn(11).getString();
    return visit;
}

std::optional<VisitRow> find_by_number(SQLite::Database& book, std::int64_t number) {
    SQLite::Statement row(book, std::string(kVisits) + "WHERE v.id = ?");
    row.bind(1, number);
    if (!row.executeStep()) return std::nullopt;
    return visit_row(row);
}

std::int64_t keep_organ(SQLite::Database& book, const VisitRecord& visit) {
    SQLite::Statement keep(
        book,
        "INSERT INTO organ(slug, name, named_at) VALUES(?, ?, ?) ON CONFLICT(slug) DO UPDATE SET "
        "name = excluded.name, named_at = excluded.named_at WHERE (excluded.named_at, "
        "excluded.name) > (organ.named_at, organ.name)");
    keep.bind(1, visit.organ);
    keep.bind(2, visit.organ_name);
    keep.bind(3, since_1970_ms(visit.started));
    keep.exec();
    SQLite::Statement number(book, "SELECT id FROM organ WHERE slug = ?");
    number.bind(1, visit.organ);
    number.executeStep();
    return number.getColumn(0).getInt64();
}

void insert_visit(SQLite::Database& book, std::int64_t organ, const VisitRecord& visit,
                  std::optional<std::int64_t> branch_of, std::uint64_t first_serial) {
    SQLite::Statement insert(book,
                             "INSERT INTO visit(uuid, organ, instrument_file, started, branch_of, "
                             "first_serial) VALUES(?, ?, ?, ?, ?, ?) ON CONFLICT(uuid) DO NOTHING");
    insert.bind(1, visit.id);
    insert.bind(2, organ);
    insert.bind(3, visit.instrument_file);
    insert.bind(4, since_1970_ms(visit.started));
    if (branch_of)
        insert.bind(5, *branch_of);
    else
        insert.bind(5);
    insert.bind(6, static_cast<std::int64_t>(first_serial));
    insert.exec();
}

void keep_instrument(SQLite::Database& book, std::int64_t visit, const KeptInstrument& kept) {
    SQLite::Statement text(book, "INSERT INTO instrument(text) VALUES(?) ON CONFLICT DO NOTHING");
    text.bind(1, kept.text);
    text.exec();
    // Of two that were read at the same time one is chosen, the same in every copy of the book.
    SQLite::Statement keep(
        book,
        "UPDATE visit SET instrument = n.id, instrument_at = ?2 FROM instrument n "
        "WHERE n.text = ?1 AND visit.id = ?3 AND (visit.instrument IS NULL OR (?2, ?1) > "
        "(visit.instrument_at, (SELECT o.text FROM instrument o WHERE o.id = visit.instrument)))");
    keep.bind(1, kept.text);
    keep.bind(2, since_1970_ms(kept.at));
    keep.bind(3, visit);
    keep.exec();
}

/// FNV-1a, 64 bit (Fowler, Noll, Vo; RFC 9923), from a basis of its own for each half of an id.
std::uint64_t fnv1a(std::string_view text, std::uint64_t hash) {
    for (const char c : text) {
        hash ^= static_cast<unsigned char>(c);
        hash *= 0x100000001B3U;
    }
    return hash;
}

/// The same in every copy of the book: a version 8 UUID (RFC 9562, 5.8) made of the visit's own id
/// and of the entry with which it goes on otherwise.
std::string branch_id(const std::string& visit, const std::string& first_entry) {
    const std::string name = visit + first_entry;
    const std::uint64_t high = fnv1a(name, 0xCBF29CE484222325U);
    const std::uint64_t low = fnv1a(name + visit, high);
    std::array<char, 40> text{};
    std::snprintf(text.data(), text.size(), "%08x-%04x-8%03x-%04x-%012llx",
                  static_cast<unsigned>(high >> 32U), static_cast<unsigned>(high >> 16U & 0xFFFFU),
                  static_cast<unsigned>(high & 0xFFFU),
                  static_cast<unsigned>(0x8000U | (low >> 48U & 0x3FFFU)),
                  static_cast<unsigned long long>(low & 0xFFFFFFFFFFFFU));
    return text.data();
}

}  // namespace

std::optional<VisitRow> find_visit(SQLite::Database& book, const std::string& id) {
    SQLite::Statement row(book, std::string(kVisits) + "WHERE v.uuid = ?");
    row.bind(1, id);
    if (!row.executeStep()) return std::nullopt;
    return visit_row(row);
}

std::vector<VisitRow> visits_named(SQLite::Database& book, const std::string& beginning) {
    SQLite::Statement row(book, std::string(kVisits) +
                                    "WHERE substr(v.uuid, 1, length(?1)) = ?1 "
                                    "ORDER BY v.started, v.id");
    row.bind(1, beginning);
    std::vector<VisitRow> visits;
    while (row.executeStep())
        visits.push_back(visit_row(row));
    return visits;
}

// Which one it is, is found first: what else is told of a visit takes a look into its entries.
std::optional<VisitRow> latest_visit(SQLite::Database& book,
                                     const std::optional<std::string>& organ) {
    const std::string of_organ =
        organ ? "WHERE l.organ = (SELECT id FROM organ WHERE slug = ?) " : "";
    SQLite::Statement row(book, kVisits + ("WHERE v.id = (SELECT l.id FROM visit l " + of_organ) +
                                    "ORDER BY l.started DESC, l.id DESC LIMIT 1)");
    if (organ) row.bind(1, *organ);
    if (!row.executeStep()) return std::nullopt;
    return visit_row(row);
}

std::vector<VisitRow> list_visits(SQLite::Database& book, const std::optional<std::string>& organ) {
    SQLite::Statement row(
        book, kVisits + std::string(organ ? "WHERE o.slug = ? " : "") + "ORDER BY v.started, v.id");
    if (organ) row.bind(1, *organ);
    std::vector<VisitRow> visits;
    while (row.executeStep())
        visits.push_back(visit_row(row));
    return visits;
}

VisitRow keep_visit(SQLite::Database& book, const VisitRecord& visit) {
    const std::int64_t organ = keep_organ(book, visit);
    insert_visit(book, organ, visit, std::nullopt, 1);
    VisitRow row = *find_visit(book, visit.id);
    if (visit.ended) end_visit(book, row.number, *visit.ended);
    if (visit.instrument)
        keep_instrument(book, line_of(book, row).front().number, *visit.instrument);
    return row;
}

std::optional<KeptInstrument> instrument_of(SQLite::Database& book, const VisitRow& visit) {
    SQLite::Statement row(book,
                          "SELECT n.text, v.instrument_at FROM visit v JOIN instrument n "
                          "ON n.id = v.instrument WHERE v.id = ?");
    row.bind(1, line_of(book, visit).front().number);
    if (!row.executeStep()) return std::nullopt;
    return KeptInstrument{row.getColumn(0).getString(), wall_time(row.getColumn(1).getInt64())};
}

void end_visit(SQLite::Database& book, std::int64_t visit, WallTime at) {
    SQLite::Statement end(book,
                          "UPDATE visit SET ended = max(coalesce(ended, ?1), ?1) WHERE id = ?2");
    end.bind(1, since_1970_ms(at));
    end.bind(2, visit);
    end.exec();
}

std::vector<VisitRow> line_of(SQLite::Database& book, const VisitRow& visit) {
    std::vector<VisitRow> line{visit};
    while (line.back().branch_of)
        line.push_back(*find_by_number(book, *line.back().branch_of));
    std::reverse(line.begin(), line.end());
    return line;
}

std::vector<BookEntry> line_entries(SQLite::Database& book, const VisitRow& visit) {
    std::vector<BookEntry> entries;
    for (const VisitRow& part : line_of(book, visit)) {
        while (!entries.empty() && entries.back().serial >= part.first_serial)
            entries.pop_back();
        auto own = entries_of(book, part.number);
        std::move(own.begin(), own.end(), std::back_inserter(entries));
    }
    return entries;
}

Landing::Landing(SQLite::Database& book, VisitRow visit)
    : book_(book), visit_(std::move(visit)), rows_(book, visit_.organ) {}

void Landing::turn_to(VisitRow visit) {
    visit_ = std::move(visit);
    there_.reset();
}

void Landing::add(const BookEntry& entry) {
    while (entry.serial < visit_.first_serial && visit_.branch_of)
        turn_to(*find_by_number(book_, *visit_.branch_of));
    while (rows_.has(visit_.number, entry.serial)) {
        if (!there_) {
            there_.emplace();
            for (const BookEntry& one : entries_of(book_, visit_.number))
                there_->emplace(one.serial, to_line(entry_json(one)));
        }
        if (there_->at(entry.serial) == to_line(entry_json(entry))) return;
        branch_off(entry);
    }
    rows_.insert(visit_.number, entry);
    if (there_) there_->emplace(entry.serial, to_line(entry_json(entry)));
    ++added_;
}

void Landing::branch_off(const BookEntry& entry) {
    VisitRecord branch = visit_.record;
    branch.id = branch_id(visit_.record.id, to_line(entry_json(entry)));
    branch.started = entry.at;
    insert_visit(book_, visit_.organ, branch, visit_.number, entry.serial);
    turn_to(*find_visit(book_, branch.id));
}

}  // namespace rankwright::storage
