// Why it can't be told whether a mixture's pipe sounds, in words: the same for the command and the
// screen.
#pragma once

#include "listening/mixture/mixture.h"

#include <optional>
#include <string>
#include <vector>

namespace rankwright::app {

struct UntoldPipe {
    std::optional<listening::Untold> reason;  ///< empty: more pipes than are asked for at once
    std::vector<std::string> others;  ///< those that may hide it; empty: only the reference may
    std::optional<Cents> stray;       ///< of a tone beside, from pure
};

struct UntoldWords {
    std::string brief;    ///< that fit beside the pipe: "behind 4′"
    std::string because;  ///< after its name: "may hide behind 4′"
    std::string remedy;   ///< what tells more of it: "mute that to hear it"
};

UntoldWords words_for(const UntoldPipe& pipe);

/// The reason alone, for programs: "hidden", "soft", "noise", "crowded", "above", "stray",
/// "unsteady" or "channels".
const char* reason_word(listening::Untold reason);

/// "a, b and c".
std::string listed(const std::vector<std::string>& names);

}  // namespace rankwright::app
