#include "core/text.h"

#include <array>
#include <cmath>
#include <cstdio>

namespace rankwright {

std::string text_of(std::initializer_list<std::string_view> pieces) {
    std::string out;
    for (const std::string_view piece : pieces)
        out += piece;
    return out;
}

std::string how_many(std::size_t count, std::string_view one, std::string_view more) {
    return text_of({std::to_string(count), " ", count == 1 ? one : more});
}

std::string decimal(double value, int places) {
    const double least = 0.5 * std::pow(10.0, -places);
    std::array<char, 64> text{};
    std::snprintf(text.data(), text.size(), "%.*f", places, std::abs(value) < least ? 0.0 : value);
    return text.data();
}

}  // namespace rankwright
