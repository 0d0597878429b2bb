#include "tuning/against_reference.h"

#include "tuning/other_key.h"
#include "tuning/settling.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <utility>

namespace rankwright::tuning {

namespace {

// How well the model knows a reference before it is heard: by where it was read earlier or the
// day's measured pitch, and without.
constexpr Cents kByTheDay{5.0};
constexpr Cents kByTheFile{15.0};
// A reference further off than this, and clearly, gives its error to what is tuned from it: twice
// what a pipe may be off to count as done.
constexpr double kCopiedFrom = 2.0;

}  // namespace

bool PairedState::drawn() const {
    return drawing.drawing == Drawing::pulled_together ||
           drawing.drawing == Drawing::drawn_nearer || drawing.drawing == Drawing::pushed_apart;
}

Hertz PairedExpectation::wanted(Hertz reference_pitch) const {
    return (reference_pitch * reference.reference_partial + reference.beat) /
           reference.pipe_partial;
}

Hertz PairedExpectation::beats(Cents off, Hertz reference_pitch) const {
    const Hertz right = wanted(reference_pitch);
    return (transpose(right, off) - right) * reference.pipe_partial;
}

void AgainstReference::expect(PairedExpectation expectation) {
    const bool same = expectation_ && expectation_->pipe.id == expectation.pipe.id &&
                      expectation_->reference.pipe.id == expectation.reference.pipe.id;
    const bool other_target = !same || expectation_->reference.beat != expectation.reference.beat;
    expectation_ = std::move(expectation);
    if (state_.pipe.stage == Stage::settled) state_.pipe.stage = Stage::reading;
    if (other_target) {
        standing_.restart();
        stood_.reset();
    }
    if (!same)
        taps_.turn_to(expectation_->pipe);
    else if (other_target)
        taps_.begin_anew();
    if (same) {
        if (state_.reference) note_reference(*state_.reference, *state_.reference_uncertainty);
        return;
    }
    state_ = {};
    heard_alone_.forget();
    reference_alone_.reset();
    pipe_alone_.reset();
    foreign_since_.reset();
}

Expectation AgainstReference::alone() const {
    const PairedExpectation& both = *expectation_;
    ReferencePitch all = heard_alone_;
    all.after(both.reference_before);
    const Hertz reference = all.pitch().value_or(state_.reference.value_or(both.reference_target));
    const Cents doubt =
        all.uncertainty().value_or(state_.reference_uncertainty.value_or(Cents{0.0}));
    return {both.pipe, both.wanted(reference), both.tolerance, both.speed_of_sound, both.others,
            doubt};
}

listening::PairExpectation AgainstReference::awaited() const {
    const auto& seen = expectation_->reference_seen;
    const Hertz reference =
        state_.reference.value_or(seen.value_or(expectation_->reference_target));
    const bool nearly = seen || expectation_->day_known;
    const Cents doubt = state_.reference_uncertainty.value_or(nearly ? kByTheDay : kByTheFile);
    return {reference, transpose(reference, doubt) - reference,
            expectation_->reference.reference_partial, expectation_->reference.pipe_partial};
}

void AgainstReference::hear(const listening::PairHearing& pair, const listening::Hearing& any) {
    if (!expectation_) return;
    say(pair, any);
    state_.pipe.tone = any.tone;
}

void AgainstReference::say(const listening::PairHearing& pair, const listening::Hearing& any) {
    using listening::Sounding;
    PipeState& pipe = state_.pipe;
    state_.perhaps_both = pair.perhaps_both;
    state_.at = duration(pair.now - FrameIndex{}, pair.rate);
    pipe.wrong_key.reset();
    pipe.wrong_pitch.reset();
    const auto stage = [&](Stage to) {
        // A settled pipe stays settled when the key comes up: that is how the helper moves on.
        if (pipe.stage != Stage::settled) pipe.stage = to;
    };
    const bool one_of_them = pair.reference_alone || pair.reading;
    const bool insists = foreign_insists(any);
    if ((!one_of_them || insists) && name_other_key(any)) return;
    hear_reference(pair);
    if (pair.sounding == Sounding::silence) return stage(Stage::waiting);
    if (pair.sounding == Sounding::disturbed) return stage(Stage::disturbed);
    if (pair.reference_alone) return stage(Stage::reference);
    if (!pair.reading) {
        // One tone where two should sound: they may have drawn each other into it.
        if (pair.sounding == Sounding::steady) judge_drawn(pair, any);
        if (state_.drawn()) return stage(Stage::reading);
        // Between two readings of one tone the last figure stays: the pipe was moved.
        const bool heard_before = pipe.deviation && pair.tone == tone_;
        return stage(heard_before ? Stage::moving : Stage::speaking);
    }
    judge(pair, any);
}

// Of the two together a single tone may be heard as either, or as what they are both partials of.
bool AgainstReference::is_foreign(const listening::Hearing& any) const {
    if (!any.reading || any.sounding == listening::Sounding::disturbed) return false;
    const Hertz heard = any.reading->pitch;
    const Hertz reference = expectation_->reference_target;
    for (const Hertz own : {reference, expectation_->wanted(reference),
                            reference / expectation_->reference.pipe_partial})
        if (apart(own, heard) <= kOtherKey) return false;
    return true;
}

// A pipe that stands elsewhere altogether leaves nothing beside the reference but its unrest, which
// then passes for two in tune.
bool AgainstReference::foreign_insists(const listening::Hearing& any) {
    constexpr Seconds kInsists{0.8};
    if (!is_foreign(any))
        foreign_since_.reset();
    else if (!foreign_since_)
        foreign_since_ = state_.at;
    return foreign_since_ && state_.at - *foreign_since_ >= kInsists;
}

bool AgainstReference::name_other_key(const listening::Hearing& any) {
    if (!is_foreign(any)) return false;
    const Hertz heard = any.reading->pitch;
    PipeState& pipe = state_.pipe;
    const bool was_settled = pipe.stage == Stage::settled;
    if (!was_settled) pipe = {};
    pipe.stage = was_settled ? Stage::settled : Stage::wrong_key;
    pipe.wrong_pitch = heard;
    // A reference at another octave than its pipe leaves two keys to choose from: the nearer.
    for (const KeyPitch& other : expectation_->others) {
        if (apart(other.pitch, heard) > kSameKey) continue;
        const int from = expectation_->pipe.key;
        if (!pipe.wrong_key || std::abs(other.key - from) < std::abs(*pipe.wrong_key - from))
            pipe.wrong_key = other.key;
    }
    return true;
}

void AgainstReference::hear_reference(const listening::PairHearing& pair) {
    if (pair.reference) {
        reference_alone_ = pair.reference;
        heard_alone_.hear(pair.tone, pair.reference->pitch, pair.reference->cents_sd());
    } else if (pair.reading) {
        // Two have sounded since this key went down: what was read of it may have been both.
        heard_alone_.withdraw(pair.tone);
        if (!heard_alone_.pitch()) reference_alone_.reset();
    }
    if (const auto stands = heard_alone_.pitch())
        note_reference(*stands, *heard_alone_.uncertainty());
}

void AgainstReference::note_reference(Hertz heard, Cents uncertainty) {
    const Hertz target = expectation_->reference_target;
    state_.reference = heard;
    state_.reference_uncertainty = uncertainty;
    state_.reference_deviation = interval(target, heard);
    const double off = std::abs(state_.reference_deviation->value());
    state_.copies_error =
        expectation_->day_known &&
        off > kCopiedFrom * tolerance_at(target).value() + 2.0 * uncertainty.value();
}

void AgainstReference::judge(const listening::PairHearing& pair, const listening::Hearing& any) {
    const listening::BeatReading& latest = *pair.reading;
    PipeState& pipe = state_.pipe;
    const bool moving = pair.sounding == listening::Sounding::moving;
    if (moving || pair.tone != tone_) standing_.restart();
    if (moving) pipe_alone_.reset();
    if (pair.tone != tone_) since_key_ = {};
    tone_ = pair.tone;
    const bool both_came = pipe_has_come(pair);
    const organ::Reference& reference = expectation_->reference;
    if (!heard_alone_.pitch()) {
        const Hertz doubt = latest.under.value_or(latest.beat_sd) / reference.reference_partial;
        note_reference(latest.reference, interval(latest.reference, latest.reference + doubt));
    }
    const Hertz wanted = expectation_->wanted(latest.reference);
    const Cents now = interval(wanted, latest.pipe);
    const Cents sd = interval(wanted, wanted + latest.beat_sd / reference.pipe_partial);
    const Cents shared = interval(wanted, wanted + latest.shared_sd / reference.pipe_partial);
    standing_.add(duration(pair.now - FrameIndex{}, pair.rate), now, sd, shared);
    // A reading that rests on all the sound since the last move says more than the mean of those
    // on the way to it; and those that share their sound count once.
    const bool rests_on_all = pair.heard >= standing_.span();
    const double apart_s = std::max(pair.heard.count(), SteadyMean::kBatch.count());
    const double independent = std::max(1.0, standing_.span().count() / apart_s);
    pipe.deviation = rests_on_all ? now : *standing_.mean();
    const Cents own = without(sd, shared) / std::sqrt(independent);
    pipe.uncertainty =
        std::max(*standing_.uncertainty(), Cents{std::hypot(own.value(), shared.value())});
    follow_standing(moving);
    say_beat(latest, pair.heard);
    pipe.heard = std::max(standing_.span(), pair.heard);
    if (since_key_.pipe_came) pipe.heard = std::min(pipe.heard, state_.at - *since_key_.pipe_came);
    pipe.drifting = drifts(standing_, pipe.stage == Stage::settled);
    judge_drawn(pair, any);
    // So soon a pipe far off may still be missed, and what the reference does alone be taken for
    // both.
    constexpr Seconds kMissedFor{2.0};
    const bool too_soon = !since_key_.counted && latest.under && pipe.heard < kMissedFor;
    pipe.counts =
        spoken_.by(tone_, state_.at, moving, now, pipe.heard) && !state_.perhaps_both && !too_soon;
    since_key_.counted |= pipe.counts;
    const bool goes = moving || spoken_.creeps();
    const bool stands = both_came && !too_soon && !goes && !pipe.drifting && !state_.drawn() &&
                        settles({*pipe.deviation, *pipe.uncertainty, expectation_->tolerance,
                                 standing_.span(), pipe.stage == Stage::settled});
    pipe.stage = goes ? Stage::moving : stands ? Stage::settled : Stage::reading;
    advise(expectation_->pipe, expectation_->tolerance, expectation_->speed_of_sound, state_.at,
           standing_, taps_, pipe);
}

// A reference alone may pass for two in tune: until the two are told, the pipe may yet come, or be
// silent. What was read before it came says nothing of it.
bool AgainstReference::pipe_has_come(const listening::PairHearing& pair) {
    const bool told = !pair.perhaps_both;
    if (!since_key_.both && since_key_.heard && told) {
        standing_.restart();
        since_key_.pipe_came = state_.at;
    }
    since_key_.heard = true;
    const bool come = told || state_.pipe.stage == Stage::settled;
    since_key_.both |= come;
    state_.perhaps_both = !since_key_.both;
    return come;
}

void AgainstReference::judge_drawn(const listening::PairHearing& pair,
                                   const listening::Hearing& any) {
    DrawingEvidence evidence;
    evidence.reference = reference_alone_;
    evidence.pipe = pipe_alone_;
    evidence.together = pair.reading;
    evidence.as_one = any.reading;
    evidence.reference_partial = expectation_->reference.reference_partial;
    evidence.pipe_partial = expectation_->reference.pipe_partial;
    evidence.stray =
        usual_stray(expectation_->reference_target, std::max(pair.heard, Seconds{0.5}));
    state_.drawing = judge_drawing(evidence);
}

// What looked like a movement and left the pipe where it was is none.
void AgainstReference::follow_standing(bool moving) {
    constexpr Seconds kRoughly{0.8};
    constexpr Seconds kWell{2.0};
    constexpr Cents kWanders{0.35};
    if (moving || standing_.stands() != stands_) slow_.restart();
    stands_ = standing_.stands();
    if (moving || standing_.span() < kRoughly) return;
    const Cents here = *standing_.mean();
    if (stood_ && std::abs((here - *stood_).value()) > kWanders.value()) stood_.reset();
    stood_ ? slow_.resume() : slow_.forget();
    if (!stood_ && standing_.span() >= kWell) stood_ = here;
}

void AgainstReference::say_beat(const listening::BeatReading& latest, Seconds heard) {
    PipeState& pipe = state_.pipe;
    const Hertz wanted = expectation_->wanted(latest.reference);
    pipe.pitch = transpose(wanted, *pipe.deviation);
    state_.off_target = expectation_->beats(*pipe.deviation, latest.reference);
    state_.beat = expectation_->reference.beat + *state_.off_target;
    state_.beat_sd = expectation_->beats(*pipe.uncertainty, latest.reference);
    const Hertz size{std::abs(state_.beat->value())};
    state_.under.reset();
    if (latest.under) {
        // Readings that don't know the sign mustn't be averaged to a false nought.
        slow_.add(state_.at, latest, heard);
        state_.under = std::max(*latest.under, size);
        if (const auto slower = slow_.under())
            state_.under = std::min(*state_.under, std::max(*slower, size + *state_.beat_sd * 2.0));
    } else if (size <= *state_.beat_sd * 2.0)
        state_.under = size + *state_.beat_sd * 2.0;
    if (!state_.under) return;
    const Hertz half = *state_.under / (2.0 * expectation_->reference.pipe_partial);
    pipe.uncertainty = std::max(*pipe.uncertainty, interval(wanted, wanted + half));
}

}  // namespace rankwright::tuning
