#include "visit/keeper.h"

#include <algorithm>
#include <cmath>

namespace rankwright::visit {

namespace {

using tuning::Stage;

constexpr Seconds kSteady{1.0};
// The mean over a second or more of a pipe that nobody touches wanders by less …
constexpr Cents kWanders{0.35};
// … but for what it strays in minutes, and what a look of less than a second sees of its wander.
constexpr Cents kStraysInMinutes{0.5};
constexpr Cents kWandersAtOnce{0.6};
constexpr Seconds kKnown{1.6};
// What is less sure says nothing of how a pipe was found, unless nothing better came.
constexpr Cents kFoundTo{1.0};
// A figure less sure than this can't tell whether the pipe was moved.
constexpr Cents kWellKnown{0.3};
// What scatters by less than this, standard, does so by its own wander.
constexpr Cents kScattersBy{0.15};
// And heard alone it may differ by more from what it was by beats, with its reference's own doubt.
constexpr Cents kOtherwiseHeard{1.0};

bool well_known(const KeptReading& reading) {
    return reading.settled || reading.uncertainty <= kWellKnown;
}

bool is_known(const KeptReading& reading) {
    return reading.settled || reading.uncertainty <= kFoundTo;
}

KeptReading as(Moment moment, KeptReading reading) {
    reading.moment = moment;
    return reading;
}

/// Pitches and not deviations: what those are measured from may have changed since.
bool elsewhere(const KeptReading& one, const KeptReading& other, Cents wanders) {
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
    if (!touched() || !found_ || !latest_) return Cents{0.0};
    return Cents{std::abs(interval(found_->pitch, latest_->pitch).value())};
}

void Keeper::touch() {
    ++touches_;
    after_.reset();
    stand_.reset();
}

// The ear sees a treble pair move now and then when nobody touches it: what comes to stand where it
// stood wasn't moved. That is told only by a figure that is well known: till then it may have been.
void Keeper::watch_movement(Stage stage, const std::optional<KeptReading>& figure) {
    const bool moves = stage == Stage::moving;
    if (moves && motion_ == Motion::none && latest_) {
        motion_ = Motion::seen;
        if (!stand_) stand_ = latest_;
    }
    if (!figure) return;
    if (motion_ != Motion::sure && stand_) {
        const Cents wanders = stand_->heard < kSteady   ? kWandersAtOnce
                              : motion_ == Motion::seen ? kWanders
                                                        : kStraysInMinutes;
        if (elsewhere(*stand_, *figure, wanders)) {
            touch();
            motion_ = moves ? Motion::sure : Motion::none;
        }
    }
    if (moves) return;
    if (motion_ == Motion::sure || well_known(*figure)) motion_ = Motion::none;
    if (motion_ == Motion::none && well_known(*figure)) take_stand(*figure);
}

// The first look, since it may be moved at once; better ones, until a second and a half was heard.
// Not for longer: a mean of some seconds slides from where it stood to where a tap has put it, and
// that of one second does when the tap comes early: then it scatters more than the first look. Nor
// does what was heard beside the reference, to a cent, hide a smaller move of what is heard alone.
void Keeper::take_stand(const KeptReading& figure) {
    constexpr double kScatters = 2.0;
    const bool slides = stand_ && figure.uncertainty > stand_->uncertainty * kScatters &&
                        figure.uncertainty > kScattersBy;
    const bool better = !stand_ || !well_known(*stand_) ||
                        (stand_->heard < kKnown && figure.heard >= kSteady && !slides);
    const bool otherwise = stand_ && stand_->reference != figure.reference;
    if (!better && !otherwise) return;
    stand_ = figure;
    if (touches_ == 0) taken_up_ = figure;
}

std::optional<KeptReading> Keeper::hear(Stage stage, const std::optional<KeptReading>& figure) {
    const bool stands = stage == Stage::reading || stage == Stage::settled;
    if (stands || stage == Stage::moving) watch_movement(stage, figure);
    if (figure && stands) {
        latest_ = figure;
        if (!touched() && (!found_ || !well_known(*found_) || well_known(*figure))) found_ = figure;
    }
    const bool stood = found_ && is_known(*found_) && found_->heard >= kSteady;
    if (!before_known_ && found_ && (touches_ > 0 || stood)) {
        before_known_ = true;
        return as(Moment::before, *found_);
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
    if (!before_known_ && found_ && is_known(*found_)) still.push_back(as(Moment::before, *found_));
    const bool better_known = after_ && latest_->uncertainty < after_->uncertainty * 0.7;
    const bool left_elsewhere = !after_ && (touches_ > 0 || (touched() && is_known(*latest_)));
    if (left_elsewhere || better_known) still.push_back(as(Moment::after, *latest_));
    turn_to(true);
    return still;
}

}  // namespace rankwright::visit
