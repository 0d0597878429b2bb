// What is asked of the helper at the console.
#pragma once

#include "organ/reference.h"

#include <optional>
#include <string>
#include <vector>

namespace rankwright::visit {

/// What to ask of the helper for one pipe.
struct Call {
    struct Key {
        std::string division;  ///< as people write it
        std::string note;      ///< "tenor C"
        int key = 1;
    };
    std::vector<std::string> stops;  ///< to have on, the reference first; "Great · Octave 4′" when
                                     ///< it stands in another division than the pipe
    Key key;                  ///< of the pipe
    std::optional<Key> also;  ///< the reference's, where it is another one
};

/// For a pipe and its reference; without one it sounds alone.
Call call_for(const organ::Pipe& pipe, const std::optional<organ::Reference>& reference);

}  // namespace rankwright::visit
