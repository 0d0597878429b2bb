#include "app/mixture.h"

#include "app/mixture_untold.h"

#include <algorithm>
#include <array>
#include <charconv>
#include <cstdio>

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

std::string seconds_text(Seconds time) {
    std::array<char, 32> text{};
    std::snprintf(text.data(), text.size(), time.count() < 10.0 ? "%.1f s" : "%.0f s",
                  time.count());
    return text.data();
}

std::vector<std::string> names_of(const std::vector<std::size_t>& pipes,
                                  const listening::MixtureRequest& request) {
    std::vector<std::string> names;
    for (const std::size_t pipe : pipes)
        names.push_back(pipe_name(request, pipe));
    return names;
}

// What parts the pipe from those that it isn't told from.
std::string parting_words(const listening::MixturePipeReading& pipe,
                          const listening::MixtureRequest& request, Seconds longest) {
    const bool reference = pipe.unresolved_with.front() == request.pipes.size();
    const std::string silence =
        pipe.unresolved_with.size() > 1 ? "mute one and hear it again"
        : reference
            ? "hear it without the reference"
            : "mute " + listed(names_of(pipe.unresolved_with, request)) + " and hear it again";
    if (!pipe.to_part) return "no length of hearing is sure to part them: " + silence;
    if (*pipe.to_part <= longest) return "hear " + seconds_text(*pipe.to_part) + " or more";
    return "that would take " + seconds_text(*pipe.to_part) + ", and no more than " +
           seconds_text(longest) + " is heard at once: " + silence;
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

std::string pipe_name(const listening::MixtureRequest& request, std::size_t pipe) {
    if (pipe >= request.pipes.size()) return "the reference";
    static constexpr std::array kPlaces{"first ",  "second ", "third ",
                                        "fourth ", "fifth ",  "sixth "};
    std::size_t same = 0, before = 0;
    for (std::size_t i = 0; i < request.pipes.size(); ++i) {
        if (request.pipes[i].value() != request.pipes[pipe].value()) continue;
        ++same;
        if (i < pipe) ++before;
    }
    const std::string ratio = ratio_text(request.pipes[pipe]);
    return same > 1 ? kPlaces.at(before) + ratio : ratio;
}

std::string untold_words(const listening::MixturePipeReading& pipe,
                         const listening::MixtureRequest& request, Seconds longest) {
    using listening::Untold;
    const std::vector<std::string> others = names_of(pipe.unresolved_with, request);
    if (pipe.presence != listening::Presence::cannot_tell)
        return others.empty() ? std::string()
                              : "not yet told from " + listed(others) + " (" +
                                    parting_words(pipe, request, longest) + ")";
    const Untold reason = pipe.untold.value_or(Untold::noise);
    const UntoldWords words = words_for({reason, others, pipe.stray});
    const std::string remedy = reason == Untold::hidden && !others.empty()
                                   ? parting_words(pipe, request, longest)
                                   : words.remedy;
    return "can't be told yet: it " + words.because + " (" + remedy + ")";
}

}  // namespace rankwright::app
