// Reads the divisions of an instrument file with their stops.
#pragma once

#include "organ/instrument.h"
#include "storage/table_reader.h"

#include <string>
#include <vector>

namespace rankwright::storage {

/// A stop that names another one. Names can be looked up only when all stops are known.
struct Link {
    enum class Role { celeste, borrowed, tuned_from };
    Role role = Role::celeste;
    toml::source_region place;
    std::size_t division = 0;  ///< index of the naming stop's division …
    std::size_t stop = 0;      ///< … and its own
    std::size_t range = 0;     ///< index into tuned_from
    bool own_feet = false;     ///< a borrowed stop that states its feet
    std::string name;          ///< as written; "itself" is the naming stop
};

/// Where each stop begins in the file, for mistakes found later; as instrument.divisions.
using StopPlaces = std::vector<std::vector<toml::source_region>>;

/// Reads the tables of `[[division]]` into `instrument`.
void read_divisions(const toml::array& tables, organ::Instrument& instrument,
                    std::vector<Link>& links, StopPlaces& places, Mistakes& mistakes);

/// The key number that `node` means on a keyboard: a number from 1, or a note's name. Notes a
/// mistake and is empty when there is no such key from 1 to `last_key`.
std::optional<int> read_key(const toml::node& node, std::string_view key, int lowest_midi,
                            int last_key, Mistakes& mistakes);

}  // namespace rankwright::storage
