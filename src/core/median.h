// The middle of some values, and others of them by their rank.
#pragma once

#include <algorithm>
#include <cassert>
#include <cstddef>
#include <vector>

namespace rankwright {

/// The middle value; of an even number, halfway between the two in the middle. Requires values.
inline double median(std::vector<double> values) {
    assert(!values.empty());
    const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
    std::nth_element(values.begin(), middle, values.end());
    if (values.size() % 2 == 1) return *middle;
    return (*std::max_element(values.begin(), middle) + *middle) / 2.0;
}

/// The value over this share of the others, from 0 (the least) to 1 (the greatest), rounded down to
/// whole ranks. Requires values.
inline double value_above(double share, std::vector<double> values) {
    assert(!values.empty());
    const auto rank = static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
    std::nth_element(values.begin(), values.begin() + rank, values.end());
    return values[static_cast<std::size_t>(rank)];
}

}  // namespace rankwright
