#include "tuning/single_pipe.h"

#include <algorithm>
#include <cmath>

namespace rankwright::tuning {

namespace {

// A pipe this far from its target is taken for another key.
constexpr Cents kOtherKey{60.0};
constexpr Cents kSameKey{45.0};
// A pipe counts as settled once it has stood inside its tolerance for this long …
constexpr Seconds kStandsFor{1.0};
// … moving no faster than this: half a cent in two seconds is a pipe still cooling from the hand.
constexpr double kDriftLimit_cents_a_second = 0.25;
// A settled pipe stays so until it is clearly outside, or the word would flicker on the edge.
constexpr double kLeavesAt = 1.5;

}  // namespace

Cents tolerance_at(Hertz target) {
    constexpr Hertz kSlowestBeat{0.05};
    return std::max(Cents{0.5}, interval(target, target + kSlowestBeat));
}

void SinglePipe::expect(Expectation expectation) {
    const bool same_pipe = expectation_ && expectation_->pipe.id == expectation.pipe.id;
    expectation_ = std::move(expectation);
    inside_since_.reset();
    if (!same_pipe) state_ = {};
}

void SinglePipe::hear(const listening::Hearing& hearing) {
    if (!expectation_) return;
    using listening::Sounding;
    state_.wrong_key.reset();
    state_.wrong_pitch.reset();
    if (hearing.sounding == Sounding::silence) {
        // A settled pipe stays settled when the key comes up: that is how the helper moves on.
        if (state_.stage != Stage::settled) state_.stage = Stage::waiting;
        inside_since_.reset();
        return;
    }
    const std::optional<Hertz> heard =
        hearing.reading ? std::optional{hearing.reading->pitch} : hearing.coarse;
    if (heard && name_wrong_key(hearing, *heard)) return;
    if (hearing.sounding == Sounding::disturbed) {
        if (state_.stage != Stage::settled) state_.stage = Stage::disturbed;
        return;
    }
    if (!hearing.reading) {
        if (state_.stage != Stage::settled) {
            state_ = {};
            state_.stage = Stage::speaking;
        }
        return;
    }
    judge(hearing);
}

bool SinglePipe::name_wrong_key(const listening::Hearing& hearing, Hertz heard) {
    const auto distance = [&](Hertz pitch) {
        return Cents{std::abs(interval(pitch, heard).value())};
    };
    if (distance(expectation_->target) <= kOtherKey) return false;
    // A pitch seen only in the onset may still be an octave slip: wait for a steadier one.
    if (!hearing.reading && hearing.sounding == listening::Sounding::speaking) return false;
    const bool was_settled = state_.stage == Stage::settled;
    if (!was_settled) state_ = {};
    state_.stage = was_settled ? Stage::settled : Stage::wrong_key;
    state_.wrong_pitch = heard;
    for (const KeyPitch& other : expectation_->others)
        if (distance(other.pitch) <= kSameKey) state_.wrong_key = other.key;
    inside_since_.reset();
    return true;
}

void SinglePipe::judge(const listening::Hearing& hearing) {
    const listening::PitchReading& reading = *hearing.reading;
    state_.pitch = reading.pitch;
    state_.pitch_sd = reading.sd;
    state_.deviation = interval(expectation_->target, reading.pitch);
    state_.uncertainty = reading.cents_sd();
    state_.heard = duration(reading.to - reading.from, hearing.rate);
    state_.drift_cents_a_second = hearing.drift_cents_a_second;
    if (settles(hearing))
        state_.stage = Stage::settled;
    else
        state_.stage =
            hearing.sounding == listening::Sounding::moving ? Stage::moving : Stage::reading;

    const double off = std::abs(state_.deviation->value());
    if (off > expectation_->tolerance.value())
        state_.advice = organ::movement(expectation_->pipe, reading.pitch, -*state_.deviation,
                                        expectation_->speed_of_sound);
    else
        state_.advice.reset();
}

bool SinglePipe::settles(const listening::Hearing& hearing) {
    const double off = std::abs(state_.deviation->value());
    const double tolerance = expectation_->tolerance.value();
    const bool was_settled = state_.stage == Stage::settled && inside_since_;
    if (hearing.sounding == listening::Sounding::moving && !was_settled) {
        inside_since_.reset();
        return false;
    }
    if (was_settled && inside_tone_ == hearing.tone) return off <= kLeavesAt * tolerance;

    const bool drifting =
        std::abs(hearing.drift_cents_a_second.value_or(0.0)) > kDriftLimit_cents_a_second;
    if (off > tolerance || state_.uncertainty->value() > tolerance || drifting) {
        inside_since_.reset();
        return false;
    }
    if (!inside_since_ || inside_tone_ != hearing.tone) {
        inside_since_ = hearing.now;
        inside_tone_ = hearing.tone;
    }
    return duration(hearing.now - *inside_since_, hearing.rate) >= kStandsFor;
}

}  // namespace rankwright::tuning
