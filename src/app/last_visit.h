// What was worked at last, so that the program can go on with it.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

namespace rankwright::app {

struct LastVisit {
    std::string organ_file;
    std::string organ;       ///< its name
    std::string stop;        ///< "great/octave-4", as find_stop takes it
    std::string stop_words;  ///< "Great · Octave 4′"
    std::string input;       ///< as `chamber --input` takes it
    std::string device;
};

/// Where it is kept: $XDG_STATE_HOME/rankwright/last-visit.json (~/.local/state when unset).
std::filesystem::path last_visit_file();
/// Empty when there is none, when it can't be read, or when its instrument file is gone.
std::optional<LastVisit> load_last_visit();
/// Best effort: work goes on whether or not it could be written.
void save_last_visit(const LastVisit& visit);

}  // namespace rankwright::app
