#include "storage/book_json.h"

#include "core/text.h"
#include "visit/wall_time.h"

#include <array>
#include <cmath>
#include <limits>
#include <string_view>
#include <utility>

namespace rankwright::storage {

namespace {

using namespace visit;

constexpr std::array<const char*, 3> kMoments{"survey", "before", "after"};
constexpr std::array<const char*, 6> kListStates{"proposed", "wanted", "dropped",
                                                 "open",     "done",   "hear-again"};

template <typename... Cases>
struct overloaded : Cases... {
    using Cases::operator()...;
};
template <typename... Cases>
overloaded(Cases...) -> overloaded<Cases...>;

Json number_json(double value) {
    if (std::isinf(value)) return value > 0.0 ? "inf" : "-inf";
    if (std::isnan(value)) return nullptr;
    return value + 0.0;  // the database knows no negative nought
}

/// What isn't there is left out, and so is a figure that is no number: the database keeps both as
/// NULL.
template <typename T>
void add(Json& json, const char* key, const std::optional<T>& value) {
    if (!value) return;
    if constexpr (std::is_same_v<T, PipeId>) {
        json[key] = to_string(*value);
    } else if constexpr (std::is_integral_v<T>) {
        json[key] = *value;
    } else if constexpr (std::is_same_v<T, double>) {
        if (!std::isnan(*value)) json[key] = number_json(*value);
    } else {
        add(json, key, std::optional(value->value()));
    }
}

/// Takes the values of an object by their keys; the first thing wrong stays in `wrong`.
class Keys {
  public:
    explicit Keys(const Json& json) : json_(json) {}

    std::string text(const char* key) {
        const Json* value = find(key);
        if (value == nullptr) return missing(key), std::string{};
        if (!value->is_string()) return bad(key, "a text"), std::string{};
        return value->get<std::string>();
    }
    double number(const char* key) {
        const Json* value = find(key);
        if (value == nullptr) return missing(key), 0.0;
        return number_of(key, *value);
    }
    template <typename T>
    std::optional<T> maybe(const char* key) {
        const Json* value = find(key);
        if (value == nullptr) return std::nullopt;
        return T{number_of(key, *value)};
    }
    bool yes(const char* key) {
        const Json* value = find(key);
        if (value == nullptr) return missing(key), false;
        if (!value->is_boolean()) return bad(key, "true or false"), false;
        return value->get<bool>();
    }
    std::uint64_t count(const char* key) {
        const Json* value = find(key);
        if (value == nullptr) return missing(key), 0U;
        if (!value->is_number_unsigned() || value->get<std::uint64_t>() < 1 ||
            value->get<std::uint64_t>() > std::numeric_limits<std::int64_t>::max())
            return bad(key, "a whole number from 1"), 0U;
        return value->get<std::uint64_t>();
    }
    std::optional<int> maybe_key(const char* key) {
        if (find(key) == nullptr) return std::nullopt;
        return static_cast<int>(count(key));
    }
    WallTime time(const char* key) {
        const auto at = parse_wall_time(text(key));
        if (!at) bad(key, "a time like 2026-11-26T08:15:30.250Z");
        return at.value_or(WallTime{});
    }
    std::optional<WallTime> maybe_time(const char* key) {
        const Json* value = find(key);
        if (value == nullptr || value->is_null()) return std::nullopt;
        return time(key);
    }
    PipeId pipe(const char* key) {
        const auto id = parse_pipe_id(text(key));
        if (!id) bad(key, "a pipe like great/octave-4/1/25");
        return id.value_or(PipeId{});
    }
    std::optional<PipeId> maybe_pipe(const char* key) {
        if (find(key) == nullptr) return std::nullopt;
        return pipe(key);
    }
    /// The place of a word in a list.
    template <typename Enum, std::size_t N>
    Enum word(const char* key, const std::array<const char*, N>& words) {
        const std::string given = text(key);
        for (std::size_t i = 0; i < N; ++i)
            if (given == words[i]) return static_cast<Enum>(i);
        std::string known;
        for (const char* one : words)
            known += (known.empty() ? "" : ", ") + std::string(one);
        bad(key, "one of " + known);
        return Enum{};
    }
    const std::string& wrong() const { return wrong_; }

  private:
    const Json* find(const char* key) const {
        const auto found = json_.find(key);
        return found == json_.end() ? nullptr : &*found;
    }
    double number_of(const char* key, const Json& value) {
        if (value.is_number()) return value.get<double>();
        if (value.is_null()) return std::numeric_limits<double>::quiet_NaN();
        if (value == "inf") return std::numeric_limits<double>::infinity();
        if (value == "-inf") return -std::numeric_limits<double>::infinity();
        return bad(key, "a number"), 0.0;
    }
    void missing(const char* key) {
        if (wrong_.empty()) wrong_ = text_of({"\"", key, "\" is missing"});
    }
    void bad(const char* key, std::string_view expected) {
        if (wrong_.empty()) wrong_ = text_of({"\"", key, "\" isn't ", expected});
    }

    const Json& json_;
    std::string wrong_;
};

void add_matter(Json& json, const BookMatter& matter) {
    std::visit(overloaded{[&](const KeptReading& one) {
                              json["kind"] = "reading";
                              json["pipe"] = to_string(one.pipe);
                              json["moment"] = to_word(one.moment);
                              json["pitch_hz"] = number_json(one.pitch.value());
                              json["target_hz"] = number_json(one.target.value());
                              json["deviation_cents"] = number_json(one.deviation.value());
                              json["uncertainty_cents"] = number_json(one.uncertainty.value());
                              json["heard_s"] = number_json(one.heard.count());
                              json["settled"] = one.settled;
                              add(json, "reference", one.reference);
                              add(json, "reference_deviation_cents", one.reference_deviation);
                              add(json, "reference_uncertainty_cents", one.reference_uncertainty);
                              add(json, "beat_hz", one.beat);
                              add(json, "air_c", one.air);
                          },
                          [&](const Fault& one) {
                              json["kind"] = "fault";
                              json["pipe"] = to_string(one.pipe);
                              json["fault"] = one.fault;
                              json["words"] = one.words;
                          },
                          [&](const OutOfReach& one) {
                              json["kind"] = "reach";
                              json["pipe"] = to_string(one.pipe);
                              json["out_of_reach"] = one.out_of_reach;
                          },
                          [&](const AirReading& one) {
                              json["kind"] = "air";
                              json["place"] = one.place;
                              json["air_c"] = number_json(one.air.value());
                              add(json, "humidity", one.humidity);
                          },
                          [&](const PitchReading& one) {
                              json["kind"] = "pitch";
                              json["a_hz"] = number_json(one.a.value());
                              json["measured"] = one.measured;
                          },
                          [&](const Remark& one) {
                              json["kind"] = "remark";
                              if (one.stop) {
                                  json["division"] = one.stop->division;
                                  json["stop"] = one.stop->stop;
                              }
                              add(json, "key", one.key);
                              json["words"] = one.words;
                              json["complaint"] = one.complaint;
                          },
                          [&](const ListChange& one) {
                              json["kind"] = "list";
                              json["pipe"] = to_string(one.pipe);
                              json["state"] = to_word(one.state);
                          },
                          [&](const Withdrawal& one) {
                              json["kind"] = "withdrawal";
                              json["of"] = one.serial;
                          }},
               matter);
}

KeptReading reading_of(Keys& keys) {
    KeptReading reading;
    reading.pipe = keys.pipe("pipe");
    reading.moment = keys.word<Moment>("moment", kMoments);
    reading.pitch = Hertz{keys.number("pitch_hz")};
    reading.target = Hertz{keys.number("target_hz")};
    reading.deviation = Cents{keys.number("deviation_cents")};
    reading.uncertainty = Cents{keys.number("uncertainty_cents")};
    reading.heard = Seconds{keys.number("heard_s")};
    reading.settled = keys.yes("settled");
    reading.reference = keys.maybe_pipe("reference");
    reading.reference_deviation = keys.maybe<Cents>("reference_deviation_cents");
    reading.reference_uncertainty = keys.maybe<Cents>("reference_uncertainty_cents");
    reading.beat = keys.maybe<Hertz>("beat_hz");
    reading.air = keys.maybe<Celsius>("air_c");
    return reading;
}

Remark remark_of(Keys& keys, const Json& json) {
    Remark remark;
    if (json.contains("stop")) remark.stop = StopId{keys.text("division"), keys.text("stop")};
    remark.key = keys.maybe_key("key");
    remark.words = keys.text("words");
    remark.complaint = keys.yes("complaint");
    return remark;
}

/// Empty for a kind that isn't known.
std::optional<BookMatter> matter_of(Keys& keys, const Json& json, const std::string& kind) {
    if (kind == "reading") return reading_of(keys);
    if (kind == "fault") return Fault{keys.pipe("pipe"), keys.text("fault"), keys.text("words")};
    if (kind == "reach") return OutOfReach{keys.pipe("pipe"), keys.yes("out_of_reach")};
    if (kind == "air")
        return AirReading{keys.text("place"), Celsius{keys.number("air_c")},
                          keys.maybe<double>("humidity")};
    if (kind == "pitch") return PitchReading{Hertz{keys.number("a_hz")}, keys.yes("measured")};
    if (kind == "remark") return remark_of(keys, json);
    if (kind == "list")
        return ListChange{keys.pipe("pipe"), keys.word<ListState>("state", kListStates)};
    if (kind == "withdrawal") return Withdrawal{keys.count("of")};
    return std::nullopt;
}

}  // namespace

std::string to_word(Moment moment) { return kMoments[static_cast<std::size_t>(moment)]; }
std::string to_word(ListState state) { return kListStates[static_cast<std::size_t>(state)]; }

Json entry_json(const BookEntry& entry) {
    Json json{{"serial", entry.serial}, {"at", to_text(entry.at)}};
    add_matter(json, entry.matter);
    return json;
}

Result<BookEntry> parse_entry(const Json& json) {
    if (!json.is_object()) return fail(ErrorKind::bad_input, "an entry isn't an object");
    Keys keys(json);
    BookEntry entry;
    entry.serial = keys.count("serial");
    entry.at = keys.time("at");
    const std::string kind = keys.text("kind");
    const auto matter = keys.wrong().empty() ? matter_of(keys, json, kind) : std::nullopt;
    if (!keys.wrong().empty())
        return fail(ErrorKind::bad_input,
                    text_of({"entry ", std::to_string(entry.serial), ": ", keys.wrong()}));
    if (!matter)
        return fail(ErrorKind::bad_input, text_of({"entry ", std::to_string(entry.serial),
                                                   ": its kind \"", kind, "\" isn't known here"}));
    entry.matter = *matter;
    return entry;
}

Json visit_json(const VisitRecord& visit) {
    Json json{{"visit", visit.id},
              {"organ", visit.organ},
              {"organ_name", visit.organ_name},
              {"instrument_file", visit.instrument_file},
              {"started", to_text(visit.started)},
              {"ended", visit.ended ? Json(to_text(*visit.ended)) : Json(nullptr)}};
    if (!visit.branch_of.empty()) json["branch_of"] = visit.branch_of;
    if (visit.instrument) {
        json["instrument"] = visit.instrument->text;
        json["instrument_at"] = to_text(visit.instrument->at);
    }
    return json;
}

Result<VisitRecord> parse_visit(const Json& json) {
    if (!json.is_object()) return fail(ErrorKind::bad_input, "a visit isn't an object");
    Keys keys(json);
    VisitRecord visit;
    visit.id = keys.text("visit");
    visit.organ = keys.text("organ");
    visit.organ_name = keys.text("organ_name");
    visit.instrument_file = keys.text("instrument_file");
    visit.started = keys.time("started");
    visit.ended = keys.maybe_time("ended");
    if (json.contains("branch_of")) visit.branch_of = keys.text("branch_of");
    if (json.contains("instrument"))
        visit.instrument = KeptInstrument{keys.text("instrument"), keys.time("instrument_at")};
    if (!keys.wrong().empty())
        return fail(ErrorKind::bad_input, text_of({"visit ", visit.id, ": ", keys.wrong()}));
    if (visit.id.empty() || visit.organ.empty())
        return fail(ErrorKind::bad_input, "a visit has no name of its own or no organ");
    return visit;
}

std::string visit_line(const VisitRecord& visit, std::span<const BookEntry> entries) {
    Json json = visit_json(visit);
    json["entries"] = Json::array();
    for (const BookEntry& entry : entries)
        json["entries"].push_back(entry_json(entry));
    return to_line(json);
}

std::string to_line(const Json& json) {
    return json.dump(-1, ' ', false, Json::error_handler_t::replace);
}

}  // namespace rankwright::storage
