#include "visit/keeper.h"

#include <algorithm>
#include <cmath>

namespace rankwright::visit {

namespace {

using tuning::Stage;

constexpr Seconds kSteady{1.0};
// The mean over a second or more of a pipe that nobody touches wanders by less.
constexpr Cents kWanders{0.35};
constexpr Seconds kKnown{1.6};
constexpr Cents kStraysInMinutes{0.5};
// A figure less sure than this can't tell whether the pipe was moved.
constexpr Cents kWellKnown{0.3};
// And heard alone it may differ by more from what it was by beats, with its reference's own doubt.
constexpr Cents kOtherwiseHeard{1.0};

bool well_known(const KeptReading& reading) {
    return reading.settled || reading.uncertainty <= kWellKnown;
}

KeptReading as(Moment moment, KeptReading reading) {
    reading.moment = moment;
    return reading;
}

/// Pitches and not deviations: what those are measured from may have changed since.
bool elsewhere(const KeptReading& one, const KeptReading& other, Cents wanders = kWanders) {
    const double sd = std::hypot(one.uncertainty.value(), other.uncertainty.value());
    const Cents doubt = one.reference == other.reference ? wanders : kOtherwiseHeard;
    return std::abs(interval(one.pitch, other.pitch).value()) > std::max(doubt.value(), 3.0 * sd);
}

}  // namespace

void Keeper::turn_to(bool before_known) {
    *this = {};
    before_known_ = before_known;
}

Cents Keeper::moved_by() const {
    if (!touched() || !untouched_ || !latest_) return Cents{0.0};
    return Cents{std::abs(interval(untouched_->pitch, latest_->pitch).value())};
}

void Keeper::touch() {
    touched_ = true;
    after_.reset();
    stood_.reset();
    ++touches_;
}

// The ear sees a treble pair move now and then when nobody touches it: what comes to stand where it
// stood wasn't moved. That is told only by a figure that is well known: till then it may have been.
void Keeper::watch_movement(Stage stage, const std::optional<KeptReading>& figure) {
    const bool moves = stage == Stage::moving;
    if (moves && !moving_ && latest_) {
        moving_ = stood_ ? stood_ : latest_;
        moved_ = false;
    }
    if (!figure) return;
    if (moving_) {
        if (!moved_ && elsewhere(*moving_, *figure)) {
            touch();
            moved_ = true;
        }
        if (!moves && (moved_ || well_known(*figure))) moving_.reset();
    } else if (stood_ && elsewhere(*stood_, *figure, kStraysInMinutes)) {
        touch();
    }
    // Not for longer: a mean of some seconds slides from where it stood to where a tap has put it.
    const bool still_young = !stood_ || stood_->heard < kKnown;
    if (still_young && !moves && !moving_ && figure->heard >= kSteady && well_known(*figure))
        stood_ = figure;
}

std::optional<KeptReading> Keeper::hear(Stage stage, const std::optional<KeptReading>& figure) {
    const bool stands = stage == Stage::reading || stage == Stage::settled;
    if (stands || stage == Stage::moving) watch_movement(stage, figure);
    if (figure && stands) {
        latest_ = figure;
        if (!touched() && (!stood_ || well_known(*figure))) untouched_ = figure;
    }
    if (!before_known_ && untouched_ && (touched() || untouched_->heard >= kSteady)) {
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
    if ((touched() && !after_) || better_known) still.push_back(as(Moment::after, *latest_));
    turn_to(true);
    return still;
}

}  // namespace rankwright::visit
