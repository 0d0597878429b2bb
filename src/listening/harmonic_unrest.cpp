// What doesn't belong to a standing tone: sudden changes in the partials that its pitch rests on.
#include "listening/harmonic_fit_state.h"

#include <cmath>
#include <numbers>

namespace rankwright::listening {

/// Second differences of what the model leaves, as for the noise, against their median: a knock or
/// a word in less than half of the span doesn't raise what it is measured by.
void HarmonicFitter::State::find_unrest() {
    std::fill_n(unrest.begin(), span, 0.0);
    double weights = 0.0;
    spread_tone();
    for (int k = 1; k <= count; ++k) {
        const double weight = information(k);
        if (weight <= 0.0) continue;
        remove_leaks(k);
        std::vector<double>& sizes = common;  // scratch
        for (std::size_t b = 1; b + 1 < span; ++b)
            sizes[b] = std::norm(residual[b - 1] - 2.0 * residual[b] + residual[b + 1]);
        sizes[0] = sizes[1];
        sizes[span - 1] = sizes[span - 2];
        std::copy_n(sizes.begin(), span, sorted.begin());
        const auto middle = sorted.begin() + static_cast<std::ptrdiff_t>(span / 2);
        std::nth_element(sorted.begin(), middle,
                         sorted.begin() + static_cast<std::ptrdiff_t>(span));
        // Powers of noise are exponentially spread: their median is ln 2 of their mean.
        const double usual = *middle / std::numbers::ln2;
        if (usual <= 0.0) continue;
        weights += weight;
        for (std::size_t b = 0; b < span; ++b)
            unrest[b] += weight * sizes[b] / usual;
    }
    for (std::size_t b = 0; b < span && weights > 0.0; ++b)
        unrest[b] /= weights;
}

std::span<const double> HarmonicFitter::unrest() {
    state_->find_unrest();
    return std::span(state_->unrest).first(state_->span);
}

}  // namespace rankwright::listening
