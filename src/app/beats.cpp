#include "app/beats.h"

#include "listening/pair/pair.h"

#include <algorithm>
#include <charconv>
#include <cmath>

namespace rankwright::app {

namespace {

template <typename T>
bool read_whole(std::string_view text, T& value) {
    const char* end = text.data() + text.size();
    const auto [rest, trouble] = std::from_chars(text.data(), end, value);
    return trouble == std::errc{} && rest == end;
}

}  // namespace

Result<KnownReference> known_by_number(const std::string& hertz) {
    double pitch = 0.0;
    if (!read_whole(hertz, pitch) || !(pitch >= 10.0 && pitch <= 20000.0))
        return fail(ErrorKind::bad_input, "\"" + hertz +
                                              "\" is no pitch of a reference: write it in Hz, "
                                              "between 10 and 20000, as 262.31");
    const std::size_t point = hertz.find('.');
    const bool exponent = hertz.find_first_of("eE") != std::string::npos;
    const std::size_t decimals =
        point == std::string::npos || exponent ? 0 : hertz.size() - point - 1;
    const double last_digit = std::pow(10.0, -static_cast<double>(decimals));
    const Hertz finest = transpose(Hertz{pitch}, listening::kDoubtOfNumber) - Hertz{pitch};
    return KnownReference{Hertz{pitch}, std::max(Hertz{last_digit / std::sqrt(12.0)}, finest)};
}

Result<organ::Meeting> parse_interval(const std::string& interval) {
    constexpr int kHighest = 64;
    const std::size_t colon = interval.find(':');
    organ::Meeting meeting;
    const std::string_view all(interval);
    const bool whole = colon != std::string::npos &&
                       read_whole(all.substr(0, colon), meeting.reference_partial) &&
                       read_whole(all.substr(colon + 1), meeting.pipe_partial);
    const auto fits = [](int partial) { return partial >= 1 && partial <= kHighest; };
    if (!whole || !fits(meeting.reference_partial) || !fits(meeting.pipe_partial))
        return fail(ErrorKind::bad_input,
                    "\"" + interval +
                        "\" is no interval: write M:N, the reference's partial M that meets the "
                        "pipe's partial N, as 1:1 for a unison or 2:1 for an octave above");
    return meeting;
}

std::optional<std::string> word_of(tuning::Drawing drawing) {
    switch (drawing) {
        case tuning::Drawing::hear_alone:
            return std::nullopt;
        case tuning::Drawing::unclear:
            return "unclear";
        case tuning::Drawing::not_drawn:
            return "none";
        case tuning::Drawing::pulled_together:
            return "pulled together";
        case tuning::Drawing::drawn_nearer:
            return "drawn nearer";
        case tuning::Drawing::pushed_apart:
            return "pushed apart";
    }
    return std::nullopt;
}

}  // namespace rankwright::app
