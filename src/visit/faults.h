// What may be wrong with a pipe, as the trade says it.
#pragma once

#include <array>
#include <string_view>

namespace rankwright::visit {

/// Common practice, no source. At most nine: each has a digit of its own on the keyboard.
inline constexpr std::array<std::string_view, 9> kFaults{
    {"dead", "slow of speech", "off speech", "ciphers", "unsteady wind", "won't hold its tuning",
     "damaged", "rattles or buzzes", "too loud or too soft"}};

}  // namespace rankwright::visit
