// The sound inputs of this computer.
#pragma once

#include "core/result.h"
#include "core/units.h"

#include <string>
#include <string_view>
#include <vector>

namespace rankwright::capture {

struct Input {
    int index = 0;  ///< as open_live takes it; holds until devices come or go
    std::string name;
    int channels = 1;  ///< the most it can give
    SampleRate default_rate{48000.0};
    bool is_default = false;  ///< the one that open_live takes when none is named
};

/// Every input, by index; an empty list when there is none. Fails when the sound system can't be
/// started or doesn't answer. May block as long as that takes. [any, but not the window thread]
Result<std::vector<Input>> list_inputs();

/// The input that `wanted` names: nothing (the usual one), a number, a name or a part of one. Fails
/// naming the inputs there are; otherwise as list_inputs.
Result<Input> find_input(std::string_view wanted);

}  // namespace rankwright::capture
