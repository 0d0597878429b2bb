#include "tuning/single_pipe.h"

#include "tuning/drawing.h"
#include "tuning/other_key.h"
#include "tuning/settling.h"

#include <algorithm>
#include <cmath>

namespace rankwright::tuning {

namespace {

constexpr Hertz kZero{440.0};
// Where the readings of a tone were lost the pipe may have been moved: for so long after them it
// still counts as settled, and so long it must be read again before it does.
constexpr Seconds kOutlivesReadings{0.3};
constexpr Seconds kReadAnew{0.5};

Seconds time_of(const listening::Hearing& hearing) {
    return duration(hearing.now - FrameIndex{}, hearing.rate);
}

bool still_speaking(const listening::Hearing& hearing) {
    return hearing.now < speech_over(hearing.tone_began, hearing.reading->pitch, hearing.rate);
}

}  // namespace

Cents tolerance_at(Hertz target) {
    constexpr Hertz kSlowestBeat{0.05};
    return std::max(Cents{0.5}, interval(target, target + kSlowestBeat));
}

void advise(const organ::Pipe& pipe, Cents tolerance, double speed_of_sound, Seconds at,
            const SteadyMean& standing, TapWatch& taps, PipeState& state) {
    const double off = std::abs(state.deviation->value());
    const bool inside = off <= tolerance.value();
    const Cents needed = inside ? Cents{0.0} : -*state.deviation;
    state.advice.reset();
    state.taps.clear();
    if (!state.counts) return;
    taps.hear(standing, at, *state.pitch, needed, state.drifting);
    // No way to move before the screen says sharp or flat: 2 standard deviations.
    const bool sign_known = off > 2.0 * state.uncertainty->value();
    // Nor for what may be its wander, before it has stood for a moment.
    constexpr Seconds kStood{1.2};
    const bool may_wander =
        state.heard < kStood && off <= (tolerance + usual_stray(*state.pitch, kStood)).value();
    if (inside || !sign_known || may_wander) return;
    state.advice = organ::movement(pipe, *state.pitch, needed, speed_of_sound);
    if (state.advice->way != organ::Way::none) state.taps = taps.amount(*state.pitch, needed);
}

void SinglePipe::expect(Expectation expectation) {
    const bool same_pipe = expectation_ && expectation_->pipe.id == expectation.pipe.id;
    expectation_ = std::move(expectation);
    if (state_.stage == Stage::settled) state_.stage = Stage::reading;
    if (same_pipe) return;
    state_ = {};
    standing_.restart();
    taps_.turn_to(expectation_->pipe);
}

void SinglePipe::hear(const listening::Hearing& hearing) {
    if (!expectation_) return;
    say(hearing);
    state_.tone = hearing.tone;
}

void SinglePipe::say(const listening::Hearing& hearing) {
    using listening::Sounding;
    state_.wrong_key.reset();
    state_.wrong_pitch.reset();
    if (hearing.sounding == Sounding::silence) {
        // A settled pipe stays settled when the key comes up: that is how the helper moves on.
        if (state_.stage != Stage::settled) state_.stage = Stage::waiting;
        return;
    }
    const std::optional<Hertz> heard =
        hearing.reading ? std::optional{hearing.reading->pitch} : hearing.coarse;
    if (heard && name_wrong_key(hearing, *heard)) return;
    if (hearing.sounding == Sounding::disturbed) {
        if (state_.stage != Stage::settled) state_.stage = Stage::disturbed;
        return;
    }
    if (!hearing.reading || still_speaking(hearing)) {
        interrupted_ = true;
        if (lost_readings(hearing)) {
            state_.stage = Stage::disturbed;
        } else if (state_.stage != Stage::settled) {
            state_ = {};
            state_.stage = Stage::speaking;
        }
        return;
    }
    judge(hearing);
}

// In the middle of the tone that was settled: what sounds now isn't known any more.
bool SinglePipe::lost_readings(const listening::Hearing& hearing) const {
    return state_.stage == Stage::settled && hearing.tone == tone_ &&
           time_of(hearing) - read_at_ > kOutlivesReadings;
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
    return true;
}

void SinglePipe::judge(const listening::Hearing& hearing) {
    const listening::PitchReading& reading = *hearing.reading;
    const bool moving = hearing.sounding == listening::Sounding::moving;
    if (moving || hearing.tone != tone_) standing_.restart();
    const Seconds at = time_of(hearing);
    if (hearing.tone != tone_ || interrupted_) reads_since_ = at;
    interrupted_ = false;
    tone_ = hearing.tone;
    read_at_ = at;
    standing_.add(at, interval(kZero, reading.pitch), reading.cents_sd());

    state_.pitch = transpose(kZero, *standing_.mean());
    state_.deviation = interval(expectation_->target, *state_.pitch);
    state_.target_known = target_known();
    const double doubt = state_.target_known ? 0.0 : expectation_->target_doubt.value();
    state_.uncertainty = Cents{std::hypot(standing_.uncertainty()->value(), doubt)};
    state_.heard = std::max(standing_.span(), duration(reading.to - reading.from, hearing.rate));
    state_.drifting = drifts(standing_, state_.stage == Stage::settled);
    state_.counts = spoken_.by(tone_, at, moving, interval(kZero, reading.pitch), state_.heard);
    if (moving || spoken_.creeps())
        state_.stage = Stage::moving;
    else
        state_.stage = stands() ? Stage::settled : Stage::reading;

    advise(expectation_->pipe, expectation_->tolerance, expectation_->speed_of_sound, at, standing_,
           taps_, state_);
}

bool SinglePipe::target_known() const {
    constexpr double kTargetKnownTo = 0.8;
    return expectation_->target_doubt <= expectation_->tolerance * kTargetKnownTo;
}

bool SinglePipe::stands() const {
    const bool read_anew = state_.stage == Stage::settled || read_at_ - reads_since_ >= kReadAnew;
    return read_anew && state_.target_known && !state_.drifting &&
           settles({*state_.deviation, *state_.uncertainty, expectation_->tolerance,
                    standing_.span(), state_.stage == Stage::settled});
}

}  // namespace rankwright::tuning
