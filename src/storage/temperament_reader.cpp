#include "storage/temperament_reader.h"

#include "organ/note.h"

#include <array>
#include <cmath>

namespace rankwright::storage {

namespace {

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
    reader.wrong(
        list, "fifths",
        text_of({"twelve fifths narrow by one Pythagorean comma in all (23.460 cents); these "
                 "miss it by ",
                 decimal(error, 3), " cents"}));
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

}  // namespace

void read_temperament(TableReader& root, organ::Instrument& instrument) {
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

}  // namespace rankwright::storage
