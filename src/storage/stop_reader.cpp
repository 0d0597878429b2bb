#include "storage/stop_reader.h"

#include "organ/note.h"
#include "storage/instrument_words.h"
#include "storage/mixture_rows.h"

#include <algorithm>
#include <cmath>

namespace rankwright::storage {

namespace {

using organ::Footage;
using organ::PipeKind;
using organ::PipeMake;
using organ::Stop;
using organ::TuningDevice;

// "Chimney Flute 8′" → 8′; only where the name ends in a foot mark, since "Trumpet 2" may be the
// second trumpet.
std::optional<Footage> footage_in_name(const std::string& name) {
    if (!name.ends_with("′") && !name.ends_with("’") && !name.ends_with('\'')) return std::nullopt;
    const auto is_part = [](char c) {
        return c == ' ' || c == '/' || c == '-' || (c >= '0' && c <= '9') || c == '\'' ||
               static_cast<unsigned char>(c) >= 0x80;
    };
    std::size_t from = name.size();
    while (from > 0 && is_part(name[from - 1]))
        --from;
    for (; from < name.size(); ++from)
        if (const auto footage = organ::parse_footage(std::string_view(name).substr(from)))
            return footage;
    return std::nullopt;
}

// Devices that can tune a kind (common practice, no source).
bool can_tune(PipeKind kind, TuningDevice device) {
    switch (device) {
        case TuningDevice::cap:
        case TuningDevice::stopper:
            return kind == PipeKind::stopped || kind == PipeKind::chimney;
        case TuningDevice::ears:
            return kind < PipeKind::reed_full;
        case TuningDevice::reed_wire:
        case TuningDevice::resonator_sleeve:
        case TuningDevice::resonator_scroll:
            return kind >= PipeKind::reed_full;
        case TuningDevice::none:
            return true;
        default:
            return kind != PipeKind::stopped && kind != PipeKind::chimney &&
                   kind < PipeKind::reed_full;
    }
}

std::string devices_for(PipeKind kind) {
    std::string out;
    for (const auto& [word, device] : kDeviceWords) {
        if (!can_tune(kind, device)) continue;
        if (!out.empty()) out += ", ";
        out += "\"";
        out += word;
        out += "\"";
    }
    return out;
}

const char* word_of(PipeKind kind) {
    for (const auto& [word, means] : kKindWords)
        if (means == kind) return word;
    return "";
}

// Reads one stop; its parts share the keyboard and the place for mistakes.
class StopReader {
  public:
    StopReader(const toml::table& table, const organ::Division& division, const Link& at,
               std::vector<Link>& links, Mistakes& mistakes)
        : reader_(table, "a stop", mistakes), division_(division), at_(at), links_(links) {}

    Stop read() {
        stop_.name = reader_.need_text("name", "the stop's name").value_or("");
        if (!stop_.name.empty()) reader_.rename("stop \"" + stop_.name + "\"");
        read_id();
        read_compass();
        if (reader_.any("borrowed_from") != nullptr) {
            read_borrowing();
            return std::move(stop_);
        }
        if (reader_.any("mixture") != nullptr)
            read_mixture();
        else if (!read_feet())
            reader_.need("feet",
                         text_of({kFeetExpected, ", or a name that ends in them: \"Octave 4'\""}));
        read_own_pipes();
        return std::move(stop_);
    }

  private:
    Mistakes& mistakes() { return reader_.mistakes(); }

    void read_id() {
        const toml::node* node = reader_.any("id");
        const auto id = reader_.text("id");
        stop_.id = id.value_or(slug(stop_.name));
        if (id && slug(*id) != *id) reader_.wrong(*node, "id", "small letters, digits and hyphens");
    }

    std::optional<int> read_key_of(TableReader& reader, std::string_view key) {
        const toml::node* node = reader.any(key);
        if (node == nullptr) return std::nullopt;
        return read_key(*node, key, division_.lowest_midi, division_.keys, mistakes());
    }

    void read_compass() {
        stop_.first_key = read_key_of(reader_, "from").value_or(1);
        stop_.last_key = read_key_of(reader_, "to").value_or(division_.keys);
        if (stop_.first_key <= stop_.last_key) return;
        reader_.wrong(*reader_.any("to"), "to", "a key above that of \"from\"");
        stop_.last_key = division_.keys;
    }

    // From "feet", or else from the end of the name; false when neither says.
    bool read_feet() {
        const toml::node* node = reader_.any("feet");
        const auto footage = node != nullptr ? footage_of(*node) : footage_in_name(stop_.name);
        if (node != nullptr && !footage) reader_.wrong(*node, "feet", kFeetExpected);
        stop_.footage = footage.value_or(Footage{});
        return footage || node != nullptr;
    }

    void read_borrowing() {
        for (const char* key :
             {"kind", "material", "tuned_by", "follows_temperature", "pipes", "mixture", "tempered",
              "extra_pipes", "celeste_of", "beats", "tuned_from", "loudness", "chest", "level"}) {
            const toml::node* node = reader_.any(key);
            if (node != nullptr)
                mistakes().add(node->source(),
                               text_of({reader_.what(), " borrows its pipes; \"", key,
                                        "\" belongs to the stop that has them"}));
        }
        Link link = at_;
        link.own_feet = read_feet();
        read_link("borrowed_from", Link::Role::borrowed, link);
        stop_.borrowed.emplace();
    }

    void read_own_pipes() {
        stop_.tempered = reader_.yes_or_no("tempered").value_or(false);
        stop_.extra_pipes = reader_.whole("extra_pipes", 1, 48).value_or(0);
        stop_.loudness = reader_.word("loudness", kLoudnessWords).value_or(organ::Loudness::medium);
        stop_.chest = reader_.word("chest", kChestWords);
        stop_.level = reader_.whole("level", 1, 9);
        read_makes();
        read_celeste();
        read_tuned_from();
    }

    void read_makes() {
        const toml::node* ranges = reader_.any("pipes");
        const PipeMake base = read_make(reader_, nullptr, ranges == nullptr);
        stop_.makes.push_back({stop_.first_key, base});
        const toml::array* list =
            reader_.list("pipes", "a list of ranges: [{ from = \"CC\", kind = \"stopped\" }, …]");
        if (list == nullptr) return;
        stop_.makes.clear();
        for (const toml::node& node : *list) {
            const toml::table* table = node.as_table();
            if (table == nullptr) {
                reader_.wrong(node, "pipes",
                              "ranges such as { from = \"CC\", kind = \"stopped\" }");
                continue;
            }
            TableReader range(*table, text_of({"a range of ", reader_.what()}), mistakes());
            const int from = read_range_start(range, stop_.makes);
            stop_.makes.push_back({from, read_make(range, &base, true)});
        }
        if (stop_.makes.empty()) stop_.makes.push_back({stop_.first_key, base});
    }

    // "from" of a range: the first may leave it out and starts with the stop; each later one must
    // start above the one before.
    template <typename Range>
    int read_range_start(TableReader& range, const std::vector<Range>& earlier) {
        const toml::node* node = range.any("from");
        if (node == nullptr && earlier.empty()) return stop_.first_key;
        if (node == nullptr) range.need("from", "the lowest key of this range");
        const int least = earlier.empty() ? stop_.first_key : earlier.back().first_key + 1;
        const auto from = read_key_of(range, "from");
        if (!from) return least;
        const bool first_too_high = earlier.empty() && *from > stop_.first_key;
        if (*from < least || *from > stop_.last_key || first_too_high)
            range.wrong(*node, "from",
                        earlier.empty() ? "the lowest key of the stop: the first range starts there"
                                        : "a key of the stop above the range before");
        return std::max(*from, least);
    }

    // A range inherits from `base` (the stop's own keys) what it doesn't state.
    PipeMake read_make(TableReader& reader, const PipeMake* base, bool complete) {
        PipeMake make = base != nullptr ? *base : PipeMake{};
        const bool kind_above = base != nullptr && base_kind_;
        const bool device_above = base != nullptr && base_device_;
        const auto kind = reader.word("kind", kKindWords);
        if (complete && !kind_above)
            reader.need("kind", "how its pipes are made, such as \"open\"");
        make.kind = kind.value_or(make.kind);
        make.material = reader.word("material", kMaterialWords).value_or(make.material);
        const auto device = reader.word("tuned_by", kDeviceWords);
        make.device = device.value_or(make.device);
        const toml::node* device_node = reader.any("tuned_by");
        if (device_node == nullptr && (kind || !device_above)) {
            if (make.reed())
                make.device = TuningDevice::reed_wire;
            else if (complete && (kind || kind_above))
                reader.need("tuned_by", text_of({"one of ", devices_for(make.kind)}));
        } else if (device && (kind || kind_above) && !can_tune(make.kind, *device)) {
            reader.wrong(*device_node, "tuned_by",
                         text_of({"what can tune a pipe of kind \"", word_of(make.kind),
                                  "\": ", devices_for(make.kind)}));
        }
        const auto share = reader.number("follows_temperature", 0.0, 1.0);
        if (kind || base == nullptr) make.temperature_share = make.reed() ? 0.0 : 1.0;
        make.temperature_share = share.value_or(make.temperature_share);
        if (base == nullptr) {
            base_kind_ = kind.has_value();
            base_device_ = device.has_value();
        }
        return make;
    }

    void read_mixture();
    void refuse_too_high(const std::vector<toml::source_region>& places);
    void read_celeste();
    void read_tuned_from();

    void read_link(std::string_view key, Link::Role role, Link link) {
        const auto name = reader_.text(key);
        if (!name) return;
        link.role = role;
        link.place = reader_.any(key)->source();
        link.name = *name;
        links_.push_back(std::move(link));
    }

    TableReader reader_;
    const organ::Division& division_;
    const Link& at_;
    std::vector<Link>& links_;
    Stop stop_;
    bool base_kind_ = false;    // the stop itself states a kind …
    bool base_device_ = false;  // … and a device
};

void StopReader::read_mixture() {
    const toml::array* list = reader_.list(
        "mixture", "its composition and breaks: [{ from = \"CC\", rows = \"15.19.22\" }, …]");
    if (list == nullptr) return;
    std::vector<toml::source_region> places;
    std::vector<organ::Composition> seen;  // also those whose rows are no good
    for (const toml::node& node : *list) {
        const toml::table* table = node.as_table();
        if (table == nullptr) {
            reader_.wrong(node, "mixture", "breaks such as { from = \"CC\", rows = \"15.19.22\" }");
            continue;
        }
        TableReader range(*table, text_of({"a break of ", reader_.what()}), mistakes());
        const int from = read_range_start(range, seen);
        seen.push_back({from, {}});
        std::vector<Footage> rows = read_rows(range);
        if (rows.empty()) continue;
        if (!stop_.composition.empty() && stop_.composition.back().rows == rows)
            mistakes().add(table->source(),
                           text_of({"this break of ", reader_.what(),
                                    " has the rows of the keys below it; leave it out or write the "
                                    "rows that begin here"}));
        stop_.composition.push_back({from, std::move(rows)});
        places.push_back(table->source());
    }
    refuse_too_high(places);
}

// Nobody makes pipes of a quarter of an inch: 12.5 kHz (MIDI 127) is beyond the top of every stop
// in use (common practice, no source), so a row that would pass it lacks a break.
void StopReader::refuse_too_high(const std::vector<toml::source_region>& places) {
    constexpr int kHighest = 127;
    const auto& breaks = stop_.composition;
    for (std::size_t i = 0; i < breaks.size(); ++i) {
        const int last = i + 1 < breaks.size() ? breaks[i + 1].first_key - 1 : stop_.last_key;
        const Footage& top = breaks[i].rows.back();
        const int most = kHighest - top.semitones() - division_.lowest_midi + 1;
        if (last <= most) continue;
        mistakes().add(places[i], text_of({"row ", to_string(top), "′ of ", reader_.what(),
                                           " would sound above 12.5 kHz from ",
                                           organ::note_name(division_.lowest_midi + most),
                                           " up, where no pipe is made; it must break before"}));
    }
}

void StopReader::read_celeste() {
    read_link("celeste_of", Link::Role::celeste, at_);
    const bool celeste = reader_.any("celeste_of") != nullptr;
    const toml::node* node = reader_.any("beats");
    constexpr const char* kExpected =
        "beats a second, one number or several: { \"tenor C\" = 2, \"middle C\" = 3 }";
    if (node == nullptr) {
        if (celeste) reader_.need("beats", kExpected);
        return;
    }
    if (!celeste) reader_.need("celeste_of", "the stop it beats with");
    organ::Celeste out;
    const auto usable = [](const toml::node& rate) {
        const auto value = rate.is_number() ? rate.value<double>() : std::nullopt;
        return value && *value != 0.0 && std::abs(*value) <= 20.0 ? value : std::nullopt;
    };
    if (const auto* table = node->as_table()) {
        for (const auto& [key, rate] : *table) {
            const auto midi = organ::parse_note(key.str());
            const int number = midi ? *midi - division_.lowest_midi + 1 : 0;
            const auto value = usable(rate);
            if (number < stop_.first_key || number > stop_.last_key)
                mistakes().add(key.source(),
                               text_of({"\"", key.str(),
                                        "\" is no note of this stop; expected one as in "
                                        "\"tenor C\""}));
            else if (!value)
                reader_.wrong(rate, key.str(), "beats a second, up to 20, not 0; − for a flat one");
            else
                out.beats.push_back({number, Hertz{*value}});
        }
        std::sort(out.beats.begin(), out.beats.end(),
                  [](const auto& a, const auto& b) { return a.key < b.key; });
    } else if (const auto value = usable(*node)) {
        out.beats.push_back({stop_.first_key, Hertz{*value}});
    } else {
        reader_.wrong(*node, "beats", kExpected);
    }
    if (celeste && !out.beats.empty()) stop_.celeste = std::move(out);
}

void StopReader::read_tuned_from() {
    const toml::node* node = reader_.any("tuned_from");
    if (node == nullptr) return;
    const auto add = [&](int from, int semitones, const toml::node& name) {
        Link link = at_;
        link.role = Link::Role::tuned_from;
        link.place = name.source();
        link.range = stop_.tuned_from.size();
        link.name = name.value_or(std::string());
        stop_.tuned_from.push_back({from, {}, {}, semitones});
        links_.push_back(std::move(link));
    };
    if (node->is_string()) {
        add(stop_.first_key, 0, *node);
        return;
    }
    const toml::array* list =
        reader_.list("tuned_from",
                     "a stop's name, or a list: [{ stop = \"Octave 4'\" }, { from = \"tenor C\", "
                     "stop = \"itself\", keys = -12 }]");
    if (list == nullptr) return;
    for (const toml::node& one : *list) {
        const toml::table* table = one.as_table();
        if (table == nullptr) {
            reader_.wrong(one, "tuned_from",
                          "a range such as { from = \"CC\", stop = \"itself\" }");
            continue;
        }
        TableReader range(*table, text_of({"\"tuned_from\" of ", reader_.what()}), mistakes());
        const int from = read_range_start(range, stop_.tuned_from);
        const int semitones = range.whole("keys", -36, 36).value_or(0);
        const toml::node* name = range.need("stop", "the stop that is the reference");
        if (range.text("stop")) add(from, semitones, *name);
    }
}

}  // namespace

organ::Stop read_stop(const toml::table& table, const organ::Division& division, const Link& at,
                      std::vector<Link>& links, Mistakes& mistakes) {
    return StopReader(table, division, at, links, mistakes).read();
}

}  // namespace rankwright::storage
