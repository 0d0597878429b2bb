#include "storage/book_rows.h"

#include "core/overloaded.h"

#include <algorithm>
#include <limits>
#include <optional>
#include <type_traits>

namespace rankwright::storage {

namespace {

using namespace visit;

// The database holds these numbers: they may never change.
static_assert(static_cast<int>(Moment::survey) == 0 && static_cast<int>(Moment::before) == 1 &&
              static_cast<int>(Moment::after) == 2);
static_assert(static_cast<int>(ListState::proposed) == 0 &&
              static_cast<int>(ListState::wanted) == 1 &&
              static_cast<int>(ListState::dropped) == 2 && static_cast<int>(ListState::open) == 3 &&
              static_cast<int>(ListState::done) == 4 &&
              static_cast<int>(ListState::hear_again) == 5);

template <typename T>
struct is_optional : std::false_type {};
template <typename T>
struct is_optional<std::optional<T>> : std::true_type {};

template <typename T>
void put(SQLite::Statement& statement, int at, const T& value) {
    if constexpr (is_optional<T>::value) {
        if (value)
            put(statement, at, *value);
        else
            statement.bind(at);
    } else if constexpr (std::is_same_v<T, std::string>) {
        statement.bind(at, value);
    } else if constexpr (std::is_floating_point_v<T>) {
        statement.bind(at, static_cast<double>(value));  // SQLite keeps what is no number as NULL
    } else if constexpr (std::is_integral_v<T> || std::is_enum_v<T>) {
        statement.bind(at, static_cast<std::int64_t>(value));
    } else if constexpr (std::is_same_v<T, Seconds>) {
        statement.bind(at, value.count());
    } else {
        statement.bind(at, value.value());
    }
}

template <typename... Values>
void put_all(SQLite::Statement& statement, const Values&... values) {
    statement.reset();
    int at = 0;
    (put(statement, ++at, values), ...);
    statement.exec();
}

/// Takes the columns of a row from the left.
class Columns {
  public:
    explicit Columns(SQLite::Statement& statement) : statement_(statement) {}
    std::int64_t integer() { return next().getInt64(); }
    int small() { return next().getInt(); }
    std::string text() { return next().getString(); }
    double number() {
        const SQLite::Column column = next();
        return column.isNull() ? std::numeric_limits<double>::quiet_NaN() : column.getDouble();
    }
    template <typename T>
    std::optional<T> maybe() {
        const SQLite::Column column = next();
        if (column.isNull()) return std::nullopt;
        if constexpr (std::is_same_v<T, std::string>)
            return column.getString();
        else if constexpr (std::is_same_v<T, int>)
            return column.getInt();
        else
            return T{column.getDouble()};
    }
    PipeId pipe() {
        PipeId id{text(), text()};  // braces: in this order
        id.row = small();
        id.key = small();
        return id;
    }
    std::optional<PipeId> maybe_pipe() {
        const auto division = maybe<std::string>();
        const auto stop = maybe<std::string>();
        const auto row = maybe<int>();
        const auto key = maybe<int>();
        if (!division || !stop || !row || !key) return std::nullopt;
        return PipeId{*division, *stop, *row, *key};
    }

  private:
    SQLite::Column next() { return statement_.getColumn(next_++); }
    SQLite::Statement& statement_;
    int next_ = 0;
};

constexpr const char* kReadingColumns =
    "p.division, p.stop, p.row, p.key, r.moment, r.pitch_hz, r.target_hz, r.deviation_cents, "
    "r.uncertainty_cents, r.heard_s, r.settled, q.division, q.stop, q.row, q.key, "
    "r.reference_deviation_cents, r.reference_uncertainty_cents, r.beat_hz, r.air_c";

KeptReading kept_reading(Columns& row) {
    KeptReading reading;
    reading.pipe = row.pipe();
    reading.moment = static_cast<Moment>(row.small());
    reading.pitch = Hertz{row.number()};
    reading.target = Hertz{row.number()};
    reading.deviation = Cents{row.number()};
    reading.uncertainty = Cents{row.number()};
    reading.heard = Seconds{row.number()};
    reading.settled = row.small() != 0;
    reading.reference = row.maybe_pipe();
    reading.reference_deviation = row.maybe<Cents>();
    reading.reference_uncertainty = row.maybe<Cents>();
    reading.beat = row.maybe<Hertz>();
    reading.air = row.maybe<Celsius>();
    return reading;
}

/// Adds the entries of one table: `columns` of `table`, which `take` makes a matter of.
template <typename Take>
void add_entries(SQLite::Database& book, std::int64_t visit, const std::string& columns,
                 const std::string& table, Take take, std::vector<BookEntry>& entries) {
    SQLite::Statement rows(book, "SELECT e.serial, e.at, " + columns + " FROM " + table +
                                     " JOIN entry e ON e.visit = r.visit AND e.serial = r.serial "
                                     "WHERE r.visit = ? ORDER BY r.serial");
    rows.bind(1, visit);
    while (rows.executeStep()) {
        Columns row(rows);
        BookEntry entry;
        entry.serial = static_cast<std::uint64_t>(row.integer());
        entry.at = wall_time(row.integer());
        entry.matter = take(row);
        entries.push_back(std::move(entry));
    }
}

}  // namespace

SQLite::Statement& EntryRows::statement(std::string_view sql) {
    const auto known = statements_.find(sql);
    if (known != statements_.end()) return known->second;
    return statements_.emplace(sql, SQLite::Statement(book_, std::string(sql))).first->second;
}

bool EntryRows::has(std::int64_t visit, std::uint64_t serial) {
    SQLite::Statement& entry = statement("SELECT 1 FROM entry WHERE visit = ? AND serial = ?");
    entry.reset();
    put(entry, 1, visit);
    put(entry, 2, serial);
    const bool there = entry.executeStep();
    entry.reset();
    return there;
}

std::int64_t EntryRows::pipe_number(const PipeId& pipe) {
    const auto known = pipes_.find(pipe);
    if (known != pipes_.end()) return known->second;
    put_all(statement("INSERT INTO pipe(organ, division, stop, row, key) VALUES(?, ?, ?, ?, ?) "
                      "ON CONFLICT DO NOTHING"),
            organ_, pipe.division, pipe.stop, pipe.row, pipe.key);
    SQLite::Statement& number = statement(
        "SELECT id FROM pipe WHERE organ = ? AND division = ? AND stop = ? AND row = ? AND key = "
        "?");
    number.reset();
    put(number, 1, organ_);
    put(number, 2, pipe.division);
    put(number, 3, pipe.stop);
    put(number, 4, pipe.row);
    put(number, 5, pipe.key);
    number.executeStep();
    const std::int64_t id = number.getColumn(0).getInt64();
    number.reset();
    return pipes_[pipe] = id;
}

std::int64_t EntryRows::owner(std::int64_t visit, std::uint64_t serial) {
    SQLite::Statement& branch =
        statement("SELECT branch_of FROM visit WHERE id = ? AND first_serial > ?");
    for (;;) {
        branch.reset();
        put(branch, 1, visit);
        put(branch, 2, serial);
        const bool early = branch.executeStep() && !branch.getColumn(0).isNull();
        if (early) visit = branch.getColumn(0).getInt64();
        branch.reset();
        if (!early) return visit;
    }
}

void EntryRows::insert(std::int64_t visit, const BookEntry& entry) {
    put_all(statement("INSERT INTO entry(visit, serial, at) VALUES(?, ?, ?)"), visit, entry.serial,
            entry.at.time_since_epoch().count());
    insert_matter(visit, entry.serial, entry.matter);
}

void EntryRows::insert_matter(std::int64_t visit, std::uint64_t serial, const BookMatter& matter) {
    const auto optional_pipe = [&](const std::optional<PipeId>& pipe) {
        return pipe ? std::optional{pipe_number(*pipe)} : std::nullopt;
    };
    const auto of = [](const std::optional<StopId>& stop, std::string StopId::*part) {
        return stop ? std::optional{(*stop).*part} : std::nullopt;
    };
    std::visit(
        Overloaded{
            [&](const KeptReading& one) {
                put_all(statement("INSERT INTO reading VALUES(?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, "
                                  "?, ?, ?)"),
                        visit, serial, pipe_number(one.pipe), one.moment, one.pitch, one.target,
                        one.deviation, one.uncertainty, one.heard, one.settled,
                        optional_pipe(one.reference), one.reference_deviation,
                        one.reference_uncertainty, one.beat, one.air);
            },
            [&](const Fault& one) {
                put_all(statement("INSERT INTO fault VALUES(?, ?, ?, ?, ?)"), visit, serial,
                        pipe_number(one.pipe), one.fault, one.words);
            },
            [&](const OutOfReach& one) {
                put_all(statement("INSERT INTO reach VALUES(?, ?, ?, ?)"), visit, serial,
                        pipe_number(one.pipe), one.out_of_reach);
            },
            [&](const AirReading& one) {
                put_all(statement("INSERT INTO air VALUES(?, ?, ?, ?, ?)"), visit, serial,
                        one.place, one.air, one.humidity);
            },
            [&](const PitchReading& one) {
                put_all(statement("INSERT INTO pitch VALUES(?, ?, ?, ?)"), visit, serial, one.a,
                        one.measured);
            },
            [&](const Remark& one) {
                put_all(statement("INSERT INTO remark VALUES(?, ?, ?, ?, ?, ?, ?)"), visit, serial,
                        of(one.stop, &StopId::division), of(one.stop, &StopId::stop), one.key,
                        one.words, one.complaint);
            },
            [&](const ListChange& one) {
                put_all(statement("INSERT INTO list_change VALUES(?, ?, ?, ?)"), visit, serial,
                        pipe_number(one.pipe), one.state);
            },
            [&](const Withdrawal& one) {
                put_all(statement("INSERT INTO withdrawal VALUES(?, ?, ?, ?)"), visit, serial,
                        owner(visit, one.serial), one.serial);
            }},
        matter);
}

std::vector<BookEntry> entries_of(SQLite::Database& book, std::int64_t visit) {
    std::vector<BookEntry> entries;
    const std::string pipe = "p.division, p.stop, p.row, p.key";
    const std::string of_pipe = " r JOIN pipe p ON p.id = r.pipe";
    add_entries(book, visit, kReadingColumns,
                "reading" + of_pipe + " LEFT JOIN pipe q ON q.id = r.reference", kept_reading,
                entries);
    add_entries(
        book, visit, pipe + ", r.fault, r.words", "fault" + of_pipe,
        [](Columns& row) {
            return Fault{row.pipe(), row.text(), row.text()};
        },
        entries);
    add_entries(
        book, visit, pipe + ", r.out_of_reach", "reach" + of_pipe,
        [](Columns& row) {
            return OutOfReach{row.pipe(), row.small() != 0};
        },
        entries);
    add_entries(
        book, visit, "r.place, r.air_c, r.humidity", "air r",
        [](Columns& row) {
            return AirReading{row.text(), Celsius{row.number()}, row.maybe<double>()};
        },
        entries);
    add_entries(
        book, visit, "r.a_hz, r.measured", "pitch r",
        [](Columns& row) {
            return PitchReading{Hertz{row.number()}, row.small() != 0};
        },
        entries);
    add_entries(
        book, visit, "r.division, r.stop, r.key, r.words, r.complaint", "remark r",
        [](Columns& row) {
            Remark remark;
            const auto division = row.maybe<std::string>();
            const auto stop = row.maybe<std::string>();
            if (division && stop) remark.stop = StopId{*division, *stop};
            remark.key = row.maybe<int>();
            remark.words = row.text();
            remark.complaint = row.small() != 0;
            return remark;
        },
        entries);
    add_entries(
        book, visit, pipe + ", r.state", "list_change" + of_pipe,
        [](Columns& row) {
            return ListChange{row.pipe(), static_cast<ListState>(row.small())};
        },
        entries);
    add_entries(
        book, visit, "r.of_serial", "withdrawal r",
        [](Columns& row) { return Withdrawal{static_cast<std::uint64_t>(row.integer())}; },
        entries);
    std::sort(entries.begin(), entries.end(),
              [](const BookEntry& a, const BookEntry& b) { return a.serial < b.serial; });
    return entries;
}

std::vector<BookedReading> counted_readings(SQLite::Database& book, const std::string& rest,
                                            const std::vector<std::int64_t>& bound) {
    // A withdrawal may itself have been withdrawn: then the reading counts again.
    SQLite::Statement rows(
        book, std::string("SELECT v.uuid, e.serial, e.at, ") + kReadingColumns +
                  " FROM reading r JOIN entry e ON e.visit = r.visit AND e.serial = r.serial "
                  "JOIN visit v ON v.id = r.visit JOIN pipe p ON p.id = r.pipe "
                  "LEFT JOIN pipe q ON q.id = r.reference "
                  "WHERE NOT EXISTS (SELECT 1 FROM withdrawal w WHERE w.of_visit = r.visit AND "
                  "w.of_serial = r.serial AND NOT EXISTS (SELECT 1 FROM withdrawal x WHERE "
                  "x.of_visit = w.visit AND x.of_serial = w.serial)) AND " +
                  rest);
    int at = 0;
    for (const std::int64_t value : bound)
        rows.bind(++at, value);
    std::vector<BookedReading> readings;
    while (rows.executeStep()) {
        Columns row(rows);
        BookedReading one;
        one.visit = row.text();
        one.serial = static_cast<std::uint64_t>(row.integer());
        one.at = wall_time(row.integer());
        one.reading = kept_reading(row);
        readings.push_back(std::move(one));
    }
    return readings;
}

}  // namespace rankwright::storage
