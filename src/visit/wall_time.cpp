#include "visit/wall_time.h"

#include <array>
#include <cstdio>

namespace rankwright::visit {

WallTime wall_now() {
    return std::chrono::floor<std::chrono::milliseconds>(std::chrono::system_clock::now());
}

std::string to_text(WallTime at) {
    const auto day = std::chrono::floor<std::chrono::days>(at);
    const std::chrono::year_month_day date(day);
    const std::chrono::hh_mm_ss time(at - day);
    std::array<char, 64> text{};
    std::snprintf(text.data(), text.size(), "%04d-%02u-%02uT%02d:%02d:%02d.%03dZ",
                  static_cast<int>(date.year()), static_cast<unsigned>(date.month()),
                  static_cast<unsigned>(date.day()), static_cast<int>(time.hours().count()),
                  static_cast<int>(time.minutes().count()),
                  static_cast<int>(time.seconds().count()),
                  static_cast<int>(time.subseconds().count()));
    return text.data();
}

std::optional<WallTime> parse_wall_time(std::string_view text) {
    const std::string_view form = "0000-00-00T00:00:00.000Z";
    const bool whole_seconds = text.size() == 20;
    if (!whole_seconds && text.size() != form.size()) return std::nullopt;
    const std::string all =
        whole_seconds ? std::string(text.substr(0, 19)) + ".000Z" : std::string(text);
    if (text.back() != 'Z') return std::nullopt;
    for (std::size_t i = 0; i < form.size(); ++i) {
        const bool digit = all[i] >= '0' && all[i] <= '9';
        if (form[i] == '0' ? !digit : all[i] != form[i]) return std::nullopt;
    }
    const auto number = [&](std::size_t from, std::size_t count) {
        int value = 0;
        for (std::size_t i = from; i < from + count; ++i)
            value = value * 10 + (all[i] - '0');
        return value;
    };
    const std::chrono::year_month_day date{std::chrono::year{number(0, 4)},
                                           std::chrono::month{static_cast<unsigned>(number(5, 2))},
                                           std::chrono::day{static_cast<unsigned>(number(8, 2))}};
    if (!date.ok() || number(11, 2) > 23 || number(14, 2) > 59 || number(17, 2) > 59)
        return std::nullopt;
    return std::chrono::sys_days{date} + std::chrono::hours{number(11, 2)} +
           std::chrono::minutes{number(14, 2)} + std::chrono::seconds{number(17, 2)} +
           std::chrono::milliseconds{number(20, 3)};
}

}  // namespace rankwright::visit
