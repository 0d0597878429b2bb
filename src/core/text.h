// Building sentences for people.
#pragma once

#include <cstddef>
#include <initializer_list>
#include <string>
#include <string_view>

namespace rankwright {

/// One text from several pieces.
std::string text_of(std::initializer_list<std::string_view> pieces);

/// "1 visit", "2 visits".
std::string how_many(std::size_t count, std::string_view one, std::string_view more);

/// "8.3": `value` with `places` decimals (0 to 9), never "-0.0".
std::string decimal(double value, int places);

}  // namespace rankwright
