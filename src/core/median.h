// The middle of some values.
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

}  // namespace rankwright
