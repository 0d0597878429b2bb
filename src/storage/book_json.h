// Entries and visits of the tuning book as JSON: what `book export` writes, `book import` reads,
// and the lines that name the columns of the CSV. Nothing is lost on the way: figures keep all
// their digits, one that is no number is null, an infinite one "inf" or "-inf".
#pragma once

#include "core/result.h"
#include "visit/book_entry.h"
#include "visit/book_record.h"

#include <span>
#include <string>

#include <nlohmann/json.hpp>

namespace rankwright::storage {

using Json = nlohmann::ordered_json;

/// {"serial":1,"at":"2026-11-26T08:15:30.250Z","kind":"reading","pipe":"great/octave-4/1/25",…};
/// an optional figure that isn't there is left out.
Json entry_json(const visit::BookEntry& entry);
/// The inverse; an Error names what is missing or wrong.
Result<visit::BookEntry> parse_entry(const Json& json);

/// {"visit":"…","organ":"emberlow","organ_name":"…","instrument_file":"…","started":"…",
/// "ended":null}, with "branch_of", and "instrument" and "instrument_at", where there are any.
Json visit_json(const visit::VisitRecord& visit);
/// The inverse (`last_serial` is 0).
Result<visit::VisitRecord> parse_visit(const Json& json);

/// A whole document: the head, visits with their entries with kBetweenVisits between, the tail.
inline constexpr const char* kDocumentHead =
    "{\"format\":\"rankwright tuning book\",\"version\":1,\"visits\":[\n";
inline constexpr const char* kBetweenVisits = ",\n";
inline constexpr const char* kDocumentTail = "\n]}\n";
/// In one line.
std::string visit_line(const visit::VisitRecord& visit, std::span<const visit::BookEntry> entries);

/// In one line; text that isn't UTF-8 gets replacement characters.
std::string to_line(const Json& json);

std::string to_word(visit::Moment moment);
std::string to_word(visit::ListState state);

}  // namespace rankwright::storage
