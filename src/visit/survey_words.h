// A survey's findings told to a person: few lines, trends first, however many pipes are off.
#pragma once

#include "visit/findings.h"

#include <cstddef>
#include <string>
#include <vector>

namespace rankwright::visit {

/// What is told of a survey; the findings themselves are all in the JSON.
struct ToldSurvey {
    std::vector<std::string> whole;  ///< of the rank as a whole, and of the day
    std::vector<std::string> pipes;  ///< ciphers, missing pipes, speech
    std::string tuning;  ///< "23 pipes of 61 beat faster than once in three seconds …"
    std::vector<std::string> worst;  ///< the most audible of those, the worst first
    std::size_t others = 0;          ///< how many more are out of tune
};
/// `heard` pipes were read; at most `most` of those out of tune are told by name.
ToldSurvey told(const std::vector<Finding>& findings, std::size_t heard, std::size_t most);

/// The same for the screen, each to be read from the ladder at a glance: the whole first, then how
/// many are out of tune, then single pipes, the worst first: "rank 8.2 cents flat", "tenor C
/// ciphers".
std::vector<std::string> brief(const std::vector<Finding>& findings, std::size_t heard);

/// "CC♯, DD to EE": pipes in the order of their keys, neighbours drawn together.
std::string notes_of(const std::vector<organ::Pipe>& pipes);

}  // namespace rankwright::visit
