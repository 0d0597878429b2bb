#include "app/mixture_untold.h"

#include <cmath>

namespace rankwright::app {

namespace {

UntoldWords hidden_words(const std::vector<std::string>& others) {
    if (others.empty())
        return {"behind the reference", "may hide behind the reference",
                "hear it without the reference"};
    const bool one = others.size() == 1;
    return {one ? "behind " + others[0] : "behind others", "may hide behind " + listed(others),
            one ? "mute that to hear it" : "mute those to hear it"};
}

// "35 cents sharp".
std::string flat_or_sharp(Cents off) {
    return std::to_string(std::lround(std::abs(off.value()))) +
           (off.value() < 0.0 ? " cents flat" : " cents sharp");
}

}  // namespace

UntoldWords words_for(const UntoldPipe& pipe) {
    using listening::Untold;
    if (!pipe.reason) return {"not heard", "isn't heard with so many", "mute others to hear it"};
    switch (*pipe.reason) {
        case Untold::hidden:
            return hidden_words(pipe.others);
        case Untold::soft:
            return {"too soft to tell", "is very soft, if it sounds",
                    "mute the loudest to hear it"};
        case Untold::noise:
            return {"lost in noise", "is lost in the noise, if it sounds",
                    "hear it nearer, or longer"};
        case Untold::above:
            return {"too high to hear", "sounds above what this input holds",
                    "record at 48 kHz or more"};
        case Untold::stray:
            return {
                "far off?",
                "stands far off, if it is a tone " + flat_or_sharp(pipe.stray.value_or(Cents{0.0})),
                "hear it alone"};
        case Untold::unsteady:
            return {"unsteady", "is too unsteady to be sure of", "let it stand, or hear it alone"};
        case Untold::channels:
            return {"one microphone only", "sounds in one of the channels and not in another",
                    "mute others to hear it"};
        case Untold::crowded:
            break;
    }
    return {"not yet told", "isn't told from its neighbours yet", "hear it longer"};
}

const char* reason_word(listening::Untold reason) {
    using listening::Untold;
    switch (reason) {
        case Untold::hidden:
            return "hidden";
        case Untold::soft:
            return "soft";
        case Untold::crowded:
            return "crowded";
        case Untold::above:
            return "above";
        case Untold::stray:
            return "stray";
        case Untold::unsteady:
            return "unsteady";
        case Untold::channels:
            return "channels";
        case Untold::noise:
            break;
    }
    return "noise";
}

std::string listed(const std::vector<std::string>& names) {
    std::string out;
    for (std::size_t k = 0; k < names.size(); ++k) {
        if (k > 0) out += k + 1 == names.size() ? " and " : ", ";
        out += names[k];
    }
    return out;
}

}  // namespace rankwright::app
