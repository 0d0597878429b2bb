#include "visit/keeper.h"

#include <algorithm>
#include <cmath>

namespace rankwright::visit {

namespace {

using tuning::Stage;

constexpr Seconds kSteady{1.0};
// The mean over a second or more of a pipe that nobody touches wanders by less.
constexpr Cents kWanders{0.35};

KeptReading as(Moment moment, KeptReading reading) {
    reading.moment = moment;
    return reading;
}

bool elsewhere(const KeptReading& one, const KeptReading& other) {
    const double sd = std::hypot(one.uncertainty.value(), other.uncertainty.value());
    return std::abs((one.deviation - other.deviation).value()) >
           std::max(kWanders.value(), 3.0 * sd);
}

}  // namespace

void Keeper::turn_to(bool before_known) {
    *this = {};
    before_known_ = before_known;
}

bool Keeper::moved(Stage stage, const std::optional<KeptReading>& figure) const {
    if (stage == Stage::moving) return latest_.has_value();
    const std::optional<KeptReading>& stood = touched_ ? after_ : untouched_;
    return figure && stood && stood->heard >= kSteady && elsewhere(*stood, *figure);
}

std::optional<KeptReading> Keeper::hear(Stage stage, const std::optional<KeptReading>& figure) {
    const bool stands = stage == Stage::reading || stage == Stage::settled;
    const bool moves = moved(stage, figure);
    if (moves) {
        touched_ = true;
        after_.reset();
    }
    if (moves && !moving_) ++touches_;
    moving_ = moves;
    if (figure && stands) {
        latest_ = figure;
        if (!touched_) untouched_ = figure;
    }
    if (!before_known_ && untouched_ && (touched_ || untouched_->heard >= kSteady)) {
        before_known_ = true;
        return as(Moment::before, *untouched_);
    }
    if (stage == Stage::settled && figure && before_known_ && !after_) {
        after_ = as(Moment::after, *figure);
        return after_;
    }
    return std::nullopt;
}

std::vector<KeptReading> Keeper::leave() {
    std::vector<KeptReading> still;
    if (!latest_) return still;
    if (!before_known_ && untouched_) still.push_back(as(Moment::before, *untouched_));
    const bool better_known = after_ && latest_->uncertainty < after_->uncertainty * 0.7;
    if ((touched_ && !after_) || better_known) still.push_back(as(Moment::after, *latest_));
    turn_to(true);
    return still;
}

}  // namespace rankwright::visit
