#include "storage/instrument_file.h"

#include "organ/air.h"
#include "organ/note.h"
#include "storage/division_reader.h"
#include "storage/stop_links.h"
#include "storage/table_reader.h"

#include <cmath>
#include <fstream>
#include <sstream>

namespace rankwright::storage {

namespace {

using organ::Instrument;

constexpr std::uintmax_t kMostBytes = 16U << 20U;  // a thousand times any organ

void read_pitch(TableReader& root, Instrument& instrument) {
    constexpr const char* kExpected = "{ a = 440.0, at = \"18C\" }";
    const toml::node* node = root.need("pitch", kExpected);
    if (node == nullptr) return;
    if (!node->is_table()) {
        root.wrong(*node, "pitch", kExpected);
        return;
    }
    TableReader pitch(*node->as_table(), "\"pitch\"", root.mistakes());
    pitch.need("a", "the A at which the organ stands, in hertz");
    instrument.a = Hertz{pitch.number("a", 300.0, 600.0).value_or(440.0)};
    const toml::node* at = pitch.need("at", "the temperature at which it holds, as \"18C\"");
    if (at == nullptr) return;
    const auto* text = at->as_string();
    const auto temperature = text ? organ::parse_temperature(text->get()) : std::nullopt;
    if (!temperature) pitch.wrong(*at, "at", "a temperature with its unit: \"18C\" or \"64.4F\"");
    instrument.at = temperature.value_or(instrument.at);
}

// The pitch class named by "start"; the author's own (C) when the key is absent.
int read_start(TableReader& reader) {
    const toml::node* node = reader.any("start");
    if (node == nullptr) return 0;
    const auto* text = node->as_string();
    const auto start = text ? organ::parse_pitch_class(text->get()) : std::nullopt;
    if (!start) reader.wrong(*node, "start", "the note that takes C's place, such as \"D\"");
    return start.value_or(0);
}

std::optional<organ::Fifths> read_fifths(TableReader& reader, const toml::array& list) {
    organ::Fifths fifths{};
    if (list.size() != fifths.size()) {
        reader.wrong(
            list, "fifths",
            text_of({"twelve fifths, C–G round to F–C; here are ", std::to_string(list.size())}));
        return std::nullopt;
    }
    bool sound = true;
    for (std::size_t i = 0; i < fifths.size(); ++i) {
        const toml::node& node = list[i];
        std::optional<Cents> one;
        if (const auto* text = node.as_string()) one = organ::parse_tempering(text->get());
        if (node.is_number()) one = Cents{*node.value<double>()};
        sound = sound && one.has_value();
        if (!one)
            reader.wrong(node, "fifths",
                         "\"pure\", \"-1/4 syntonic\", \"-1/6 pythagorean\" or cents from pure");
        fifths[i] = one.value_or(Cents{0.0});
    }
    if (!sound) return std::nullopt;
    const double error = organ::closing_error(fifths).value();
    if (std::abs(error) < 0.01) return fifths;
    std::ostringstream words;
    words << "twelve fifths narrow by one Pythagorean comma in all (23.460 cents); these miss it "
             "by "
          << error << " cents";
    reader.wrong(list, "fifths", words.str());
    return std::nullopt;
}

std::optional<std::array<Cents, 12>> read_offsets(TableReader& reader, const toml::array& list) {
    std::array<Cents, 12> offsets{};
    bool sound = list.size() == offsets.size();
    for (const toml::node& node : list)
        sound = sound && node.is_number() && std::abs(*node.value<double>()) <= 100.0;
    if (!sound) {
        reader.wrong(list, "offsets", "twelve numbers: cents from equal for C, C♯ … B");
        return std::nullopt;
    }
    for (std::size_t i = 0; i < offsets.size(); ++i)
        offsets[i] = Cents{*list[i].value<double>()};
    return offsets;
}

std::vector<std::string> temperament_names() {
    std::vector<std::string> names;
    for (const auto& known : organ::built_in_temperaments())
        names.push_back(known.name);
    return names;
}

// A built-in temperament; notes a mistake when `name` isn't one.
organ::Temperament named_temperament(TableReader& reader, const toml::node& node,
                                     std::string_view key, int start) {
    const auto* name = node.as_string();
    const auto known = name ? organ::built_in_temperament(name->get(), start) : std::nullopt;
    if (known) return *known;
    const std::vector<std::string> names = temperament_names();
    std::string expected = "a temperament that comes with the program";
    for (std::size_t i = 0; i < names.size(); ++i)
        expected += (i == 0 ? ": \"" : ", \"") + names[i] + "\"";
    expected += "; or fifths or offsets of your own";
    if (name) expected += did_you_mean(name->get(), names);
    reader.wrong(node, key, expected);
    return {};
}

void read_temperament(TableReader& root, Instrument& instrument) {
    const toml::node* node = root.need("temperament", "its name, or a table of your own");
    if (node == nullptr) return;
    if (!node->is_table()) {
        instrument.temperament = named_temperament(root, *node, "temperament", 0);
        return;
    }
    TableReader table(*node->as_table(), "\"temperament\"", root.mistakes());
    const int start = read_start(table);
    const toml::array* fifths = table.list("fifths", "a list of twelve fifths");
    const toml::array* offsets = table.list("offsets", "a list of twelve numbers");
    const toml::node* name = table.need("name", "its name");
    if (fifths != nullptr && offsets != nullptr)
        table.wrong(*offsets, "offsets", "either fifths or offsets, not both");
    const std::string own_name = name ? name->value_or(std::string("unnamed")) : "unnamed";
    if (fifths != nullptr) {
        if (const auto read = read_fifths(table, *fifths))
            instrument.temperament = organ::from_fifths(own_name, *read, start);
    } else if (offsets != nullptr) {
        if (const auto read = read_offsets(table, *offsets))
            instrument.temperament = organ::from_offsets(own_name, *read, start);
    } else if (name != nullptr && table.any("fifths") == nullptr &&
               table.any("offsets") == nullptr) {
        instrument.temperament = named_temperament(table, *name, "name", start);
    }
}

void read_bearings(TableReader& root, Instrument& instrument) {
    const toml::node* node = root.any("bearings");
    if (node == nullptr) return;
    if (!node->is_table()) {
        root.wrong(*node, "bearings",
                   "{ stop = \"Octave 4'\", from = \"tenor F\", to = \"middle F\" }");
        return;
    }
    TableReader table(*node->as_table(), "\"bearings\"", root.mistakes());
    const auto name = table.need_text("stop", "the stop on which the bearings are set");
    const toml::node* from = table.need("from", "the lowest key of the bearings");
    const toml::node* to = table.need("to", "the highest key of the bearings");
    if (!name) return;
    const auto found =
        look_up(instrument, std::nullopt, *name, table.any("stop")->source(), root.mistakes());
    if (!found || from == nullptr || to == nullptr) return;
    const organ::Division& division = instrument.divisions[found->first];
    const organ::Stop& stop = division.stops[found->second];
    const auto low = read_key(*from, "from", division.lowest_midi, division.keys, root.mistakes());
    const auto high = read_key(*to, "to", division.lowest_midi, division.keys, root.mistakes());
    if (!low || !high) return;
    if (*low < stop.first_key || *high > stop.last_key || *high < *low + 11)
        table.wrong(*to, "to", "at least twelve keys of the stop, from \"from\" up");
    instrument.bearings = {division.id, stop.id, *low, *high};
}

Instrument read_root(const toml::table& table, Mistakes& mistakes) {
    TableReader root(table, "the instrument", mistakes);
    Instrument instrument;
    instrument.name = root.need_text("name", "the organ's name").value_or("the organ");
    instrument.place = root.text("place").value_or("");
    instrument.history = root.text("history").value_or("");
    read_pitch(root, instrument);
    read_temperament(root, instrument);
    root.need("division", "[[division]] tables");
    std::vector<Link> links;
    StopPlaces places;
    if (const toml::array* divisions = root.list("division", "[[division]] tables")) {
        read_divisions(*divisions, instrument, links, places, mistakes);
        join_stops(instrument, links, places, mistakes);
    }
    read_bearings(root, instrument);
    return instrument;
}

std::optional<toml::table> parse(std::string_view text, Mistakes& mistakes) {
    try {
        return toml::parse(text);
    } catch (const toml::parse_error& error) {
        std::string message(error.description());
        message += "; mend this line's brackets, quotes or signs";
        mistakes.add(error.source(), std::move(message));
        return std::nullopt;
    }
}

}  // namespace

LoadedInstrument read_instrument(std::string_view text, std::string_view name) {
    Mistakes mistakes{std::string(name)};
    const auto table = parse(text, mistakes);
    if (!table) return tl::unexpected(mistakes.take());
    Instrument instrument = read_root(*table, mistakes);
    if (!mistakes.empty()) return tl::unexpected(mistakes.take());
    return instrument;
}

LoadedInstrument load_instrument(const std::filesystem::path& path) {
    const auto unreadable = [&](const std::string& why) {
        return tl::unexpected(std::vector{Error{
            ErrorKind::not_found, "Can't read \"" + path.string() + "\": " + why, std::nullopt}});
    };
    std::error_code code;
    if (!std::filesystem::exists(path, code)) return unreadable("there is no such file.");
    if (!std::filesystem::is_regular_file(path, code)) return unreadable("it isn't a file.");
    if (std::filesystem::file_size(path, code) > kMostBytes)
        return unreadable("it is too big for an instrument file (over 16 MB).");
    std::ifstream in(path, std::ios::binary);
    std::stringstream text;
    text << in.rdbuf();
    if (!in) return unreadable("check that you may read it.");
    return read_instrument(text.str(), path.string());
}

std::vector<Error> check_instrument_file(const std::filesystem::path& path) {
    const LoadedInstrument loaded = load_instrument(path);
    return loaded ? std::vector<Error>{} : loaded.error();
}

std::string to_line(const Error& error) {
    if (!error.where) return error.message;
    return error.where->file + ":" + std::to_string(error.where->line) + ":" +
           std::to_string(error.where->column) + ": " + error.message;
}

}  // namespace rankwright::storage
