#include "app/mixture.h"

#include <algorithm>
#include <charconv>

namespace rankwright::app {

namespace {

bool read_whole(std::string_view text, int& value) {
    const char* end = text.data() + text.size();
    const auto [rest, trouble] = std::from_chars(text.data(), end, value);
    return trouble == std::errc{} && rest == end;
}

bool read_ratio(std::string_view text, listening::PureRatio& ratio) {
    constexpr int kLargest = 1000;
    constexpr double kLowest = 0.5, kHighest = 32.0;
    const std::size_t bar = text.find('/');
    const bool whole =
        read_whole(text.substr(0, bar), ratio.numerator) &&
        (bar == std::string_view::npos || read_whole(text.substr(bar + 1), ratio.denominator));
    return whole && ratio.numerator >= 1 && ratio.numerator <= kLargest && ratio.denominator >= 1 &&
           ratio.denominator <= kLargest && ratio.value() >= kLowest && ratio.value() <= kHighest;
}

}  // namespace

Result<std::vector<listening::PureRatio>> parse_ratios(const std::string& pipes) {
    std::vector<listening::PureRatio> ratios;
    for (std::size_t begin = 0; begin <= pipes.size();) {
        const std::size_t end = std::min(pipes.find(',', begin), pipes.size());
        const std::string one = pipes.substr(begin, end - begin);
        listening::PureRatio ratio;
        if (!read_ratio(one, ratio))
            return fail(ErrorKind::bad_input,
                        "\"" + one +
                            "\" is no pitch of a mixture's pipe: write each pipe as a ratio to the "
                            "key's unison from 1/2 to 32, as --pipes 3/2,4,6,8");
        ratios.push_back(ratio);
        begin = end + 1;
    }
    if (ratios.size() > listening::kMostMixturePipes)
        return fail(ErrorKind::bad_input, std::to_string(ratios.size()) +
                                              " pipes are too many for one key: give at most " +
                                              std::to_string(listening::kMostMixturePipes) +
                                              ", and mute the others");
    return ratios;
}

std::string ratio_text(const listening::PureRatio& ratio) {
    std::string text = std::to_string(ratio.numerator);
    if (ratio.denominator != 1) text += "/" + std::to_string(ratio.denominator);
    return text;
}

}  // namespace rankwright::app
