#include "visit/unanswered.h"

#include <algorithm>
#include <cmath>

namespace rankwright::visit {

void Unanswered::asked(Hertz pitch, Cents doubt, Seconds now) {
    constexpr double kClearly = 3.0;  // standard uncertainties
    constexpr Cents kLeast{1.0};      // so far a pipe wanders by itself
    const double moved = heard_ ? std::abs(interval(heard_->pitch, pitch).value()) : 0.0;
    if (!heard_ || moved > std::max(kLeast.value(), kClearly * doubt.value()))
        heard_ = {pitch, now};
}

bool Unanswered::is_long(Seconds now) const {
    // Some moves with a look after each. Common practice, no source.
    constexpr Seconds kSomeMoves{30.0};
    return heard_ && now - heard_->since > kSomeMoves;
}

}  // namespace rankwright::visit
