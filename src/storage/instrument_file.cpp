#include "storage/instrument_file.h"

#include "organ/air.h"
#include "storage/division_reader.h"
#include "storage/stop_links.h"
#include "storage/table_reader.h"
#include "storage/temperament_reader.h"

#include <algorithm>
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
    if (const auto percent = pitch.number("humidity", 0.0, 100.0))
        instrument.humidity = *percent / 100.0;
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
        look_up(instrument, nullptr, *name, table.any("stop")->source(), root.mistakes());
    if (!found || from == nullptr || to == nullptr) return;
    const organ::Division& division = *found->division;
    const organ::Stop& stop = *found->stop;
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

// Empties a line of the form `key = value`, so that what comes after it can be read as well.
bool blank_out(std::string& text, std::size_t line) {
    std::size_t begin = 0;
    for (std::size_t n = 1; n < line; ++n) {
        begin = text.find('\n', begin);
        if (begin == std::string::npos) return false;
        ++begin;
    }
    const std::size_t end = std::min(text.find('\n', begin), text.size());
    const std::string_view one = std::string_view(text).substr(begin, end - begin);
    const auto first = one.find_first_not_of(" \t");
    const bool sets_a_key = first != std::string_view::npos && one[first] != '[' &&
                            one[first] != '#' && one.find('=') != std::string_view::npos;
    if (sets_a_key) text.replace(begin, end - begin, end - begin, ' ');
    return sets_a_key;
}

// Reads the file as TOML. A line that isn't any is noted and left out, as long as the next trouble
// is further on; a bracket or quote left open shows again in the very next line, and ends it.
std::optional<toml::table> parse(std::string text, Mistakes& mistakes) {
    constexpr int kMostBadLines = 50;
    std::size_t last = 0;
    for (int tries = 0; tries < kMostBadLines; ++tries) {
        try {
            return toml::parse(text);
        } catch (const toml::parse_error& error) {
            const std::size_t line = error.source().begin.line;
            if (last != 0 && line <= last + 1) return std::nullopt;
            // Set twice: the first stands, and nothing is hidden by leaving out the second.
            const bool twice =
                error.description().find("redefine existing") != std::string_view::npos;
            mistakes.add(error.source(),
                         twice ? std::string("this key is set twice in its table; leave one out")
                               : text_of({"this line can't be read: ", error.description()}));
            mistakes.partly_hidden = mistakes.partly_hidden || !twice;
            if (!blank_out(text, line)) return std::nullopt;
            last = line;
        }
    }
    return std::nullopt;
}

}  // namespace

LoadedInstrument read_instrument(std::string_view text, std::string_view name) {
    Mistakes mistakes{std::string(name)};
    const auto table = parse(std::string(text), mistakes);
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
    if (!error.where || error.where->file.empty()) return error.message;
    std::ostringstream line;
    line << error.where->file << ':';
    if (error.where->line > 0) line << error.where->line << ':' << error.where->column << ':';
    line << ' ' << error.message;
    return line.str();
}

}  // namespace rankwright::storage
