#include "storage/division_reader.h"

#include "organ/note.h"
#include "storage/instrument_words.h"
#include "storage/stop_reader.h"

#include <algorithm>

namespace rankwright::storage {

namespace {

using organ::Division;
using organ::Stop;

constexpr int kMostKeys = 97;   // eight octaves: more than any chest
constexpr int kUsualKeys = 61;  // to go on with when the file's number is no good

// Key 1 as the file names it: CC when it doesn't.
int read_lowest(TableReader& reader) {
    constexpr int kCC = 36;
    const toml::node* node = reader.any("lowest");
    if (node == nullptr) return kCC;
    const auto* name = node->as_string();
    const auto midi = name == nullptr ? std::nullopt : organ::parse_note(name->get());
    if (!midi) reader.wrong(*node, "lowest", "the lowest key's note, such as \"CC\" or \"GG\"");
    return midi.value_or(kCC);
}

std::string read_id(TableReader& reader, const std::string& name) {
    const toml::node* node = reader.any("id");
    const auto id = reader.text("id");
    if (!id) return slug(name);
    if (slug(*id) != *id) reader.wrong(*node, "id", "small letters, digits and hyphens");
    return *id;
}

template <typename Named>
void refuse_same_id(const std::vector<Named>& earlier, const Named& one, const char* what,
                    const toml::source_region& place, Mistakes& mistakes) {
    for (const Named& other : earlier) {
        if (other.id != one.id) continue;
        mistakes.add(place, text_of({"a second ", what, " has the id \"", one.id,
                                     "\"; give one of them another name or an id"}));
        return;
    }
}

void read_stops(TableReader& reader, Division& division, Link at, std::vector<Link>& links,
                std::vector<toml::source_region>& places) {
    const toml::array* stops = reader.list("stop", "[[division.stop]] tables");
    if (stops == nullptr) return;
    for (const toml::node& node : *stops) {
        const toml::table* table = node.as_table();
        if (table == nullptr) {
            reader.wrong(node, "stop", "a [[division.stop]] table");
            continue;
        }
        at.stop = division.stops.size();
        Stop stop = read_stop(*table, division, at, links, reader.mistakes());
        refuse_same_id(division.stops, stop, "stop of this division", table->source(),
                       reader.mistakes());
        division.stops.push_back(std::move(stop));
        places.push_back(table->source());
    }
}

Division read_division(const toml::table& table, const Link& at, std::vector<Link>& links,
                       std::vector<toml::source_region>& places, Mistakes& mistakes) {
    TableReader reader(table, "a division", mistakes);
    Division division;
    division.name = reader.need_text("name", "the division's name").value_or("");
    if (!division.name.empty()) reader.rename("division \"" + division.name + "\"");
    division.id = read_id(reader, division.name);
    reader.need("keys", "the number of keys");
    division.keys = reader.whole("keys", 1, kMostKeys).value_or(kUsualKeys);
    division.lowest_midi = read_lowest(reader);
    reader.need("chest", "how its pipes stand");
    division.chest = reader.word("chest", kChestWords).value_or(division.chest);
    division.level = reader.whole("level", 1, 9).value_or(1);
    division.place = reader.text("place").value_or("");
    reader.need("stop", "[[division.stop]] tables");
    read_stops(reader, division, at, links, places);
    return division;
}

}  // namespace

std::optional<int> read_key(const toml::node& node, std::string_view key, int lowest_midi,
                            int last_key, Mistakes& mistakes) {
    std::optional<int> found;
    if (const auto* number = node.as_integer())
        found = static_cast<int>(std::clamp<std::int64_t>(number->get(), 0, 1000));
    if (const auto* name = node.as_string())
        if (const auto midi = organ::parse_note(name->get())) found = *midi - lowest_midi + 1;
    if (found && *found >= 1 && *found <= last_key) return found;
    mistakes.add(node.source(),
                 text_of({"\"", key, "\" is ", shown(node), "; expected ",
                          found ? "a key of this keyboard: " : "a key's number or its note: ",
                          "1 to ", std::to_string(last_key), ", \"", organ::note_name(lowest_midi),
                          "\" to \"", organ::note_name(lowest_midi + last_key - 1), "\""}));
    return std::nullopt;
}

void read_divisions(const toml::array& tables, organ::Instrument& instrument,
                    std::vector<Link>& links, StopPlaces& places, Mistakes& mistakes) {
    for (const toml::node& node : tables) {
        const toml::table* table = node.as_table();
        if (table == nullptr) {
            mistakes.add(node.source(), text_of({"\"division\" holds ", shown(node),
                                                 "; expected [[division]] tables only"}));
            continue;
        }
        Link at;
        at.division = instrument.divisions.size();
        places.emplace_back();
        Division division = read_division(*table, at, links, places.back(), mistakes);
        refuse_same_id(instrument.divisions, division, "division", table->source(), mistakes);
        instrument.divisions.push_back(std::move(division));
    }
}

}  // namespace rankwright::storage
