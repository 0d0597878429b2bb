#include "listening/pair_alone.h"

#include "listening/arithmetic.h"
#include "listening/wander.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

/// So near to where the reference was it is believed at once, so near after it has stood alone for
/// a while.
constexpr Cents kNoSurprise{1.0};
constexpr Seconds kStoodAlone{1.2};
constexpr Cents kMayHaveMoved{8.0};
/// How far a pipe's mean pitch strays between one span and the next, in the middle compass; more
/// in the bass.
constexpr Cents kReferenceStrays{0.15};

}  // namespace

bool PairAlone::may_be_reference(Hertz heard, Hertz expected, Hertz doubt, Seconds stood) {
    const double apart = std::abs(interval(expected, heard).value());
    const double cents = interval(expected, expected + doubt).value();
    if (apart < std::max(kNoSurprise.value(), cents)) return true;
    return stood > kStoodAlone && apart < std::max(kMayHaveMoved.value(), 4.0 * cents);
}

Hertz PairAlone::doubt() const {
    const double strays = kReferenceStrays.value() * wander_along_compass(heard_->pitch);
    return Hertz{std::hypot(heard_->sd.value(), strays / kCents * heard_->pitch.value())};
}

}  // namespace rankwright::listening
