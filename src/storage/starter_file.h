// Writes the first instrument file of an organ from a few answers.
#pragma once

#include "core/result.h"
#include "core/units.h"

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

namespace rankwright::storage {

/// A division as its stop list has it: "Principal 8", "Twelfth 2 2/3", "Mixture IV".
struct StarterDivision {
    std::string name;
    int keys = 61;
    std::vector<std::string> stops;
};

/// What `rankwright new` asks.
struct StarterAnswers {
    std::string name = "My organ";
    std::string place;
    Hertz a{440.0};
    Celsius at{18.0};
    std::string temperament = "equal";
    std::vector<StarterDivision> divisions{
        {"Great",
         61,
         {"Principal 8", "Stopped Flute 8", "Octave 4", "Twelfth 2 2/3", "Fifteenth 2",
          "Mixture III", "Trumpet 8"}},
        {"Pedal", 32, {"Subbass 16", "Octave 8", "Trombone 16"}}};
};

/// The commented text of a file that loads as it is. What the name of a stop usually means for its
/// pipes is filled in and marked to be checked; stops of the same name in a division are numbered.
std::string starter_file(const StarterAnswers& answers);

/// Writes it; an error when the file is there already (nothing is overwritten) or can't be written,
/// or when the answers give no sound file (no stops, an unknown temperament).
std::optional<Error> write_starter_file(const std::filesystem::path& path,
                                        const StarterAnswers& answers);

}  // namespace rankwright::storage
