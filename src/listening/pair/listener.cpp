#include "listening/pair/listener.h"

#include "listening/pair/state.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace rankwright::listening {

namespace {

constexpr Seconds kBegins{0.08};  // so long something must stand out
constexpr Seconds kFirstLook{0.25};
/// A tone over the wind that stood out before it, at least, in power.
constexpr double kToneOverWind = 30.0;
constexpr Cents kOtherKey{60.0};       // of the reference
constexpr Cents kOtherKeysPipe{90.0};  // from a reference that is in place
/// Two that beat no more than this in the span, at the first meeting, may pass for one.
constexpr double kHidden = 0.3;

}  // namespace

PairListener::PairListener(const Parameters& parameters)
    : state_(std::make_unique<State>(parameters)) {}
PairListener::~PairListener() = default;
PairListener::PairListener(PairListener&&) noexcept = default;
PairListener& PairListener::operator=(PairListener&&) noexcept = default;

const PairHearing& PairListener::hearing() const { return state_->hearing; }
std::span<const PartialFrame> PairListener::meeting_frames() const { return state_->frames; }

void PairListener::expect(const PairExpectation& expected) {
    State& s = *state_;
    const auto near = [&](const PairExpectation& old) {
        constexpr Cents kSameKey{30.0};
        return old.reference_partial == expected.reference_partial &&
               old.pipe_partial == expected.pipe_partial &&
               std::abs(interval(old.reference, expected.reference).value()) < kSameKey.value();
    };
    const bool same = s.expected && near(*s.expected);
    s.expected = expected;
    if (same) return;
    s.alone.forget();
    s.channels.expect(expected.reference, expected.reference_partial, expected.pipe_partial,
                      s.sound);
    s.heard_both = false;
    s.fell_silent.reset();
    s.restart();
}

void PairListener::process(FrameIndex first, std::span<const float> interleaved) {
    state_->take(first, interleaved);
}

void PairListener::State::take(FrameIndex first, std::span<const float> interleaved) {
    if (!steps.next() || first != *steps.next()) {
        steps.drop();
        restart();
    }
    steps.take(first, interleaved, [this](FrameIndex begin, std::span<const float> whole) {
        sound.push(begin, whole);
        meter.take(whole);
        hearing.now = begin + static_cast<std::int64_t>(whole.size()) / sound.channels();
        analyse();
    });
}

void PairListener::State::restart() {
    if (heard_both) {
        was_told = told || (cancelled() && was_told);
        fell_silent = sound.end();
    }
    stage = Stage::silent;
    follower.stop();
    both = told = moving = false;
    hidden.clear();
    begins = sound.end();
}

PairRequest PairListener::State::request() const {
    PairRequest r;
    r.rate = sound.rate();
    r.reference = alone.heard() ? alone.heard()->pitch : expected->reference;
    r.reference_sd = alone.heard() ? alone.doubt() : expected->reference_sd;
    r.reference_partial = expected->reference_partial;
    r.pipe_partial = expected->pipe_partial;
    return r;
}

void PairListener::State::analyse() {
    if (!expected) return report();
    channels.advance(sound);
    follower.advance(sound);
    newcomer.note(watch(), sound.end());
    switch (stage) {
        case Stage::silent:
            wait_for_tones();
            break;
        case Stage::speaking:
            hear_speech();
            break;
        case Stage::standing:
            stand();
            break;
    }
    report();
}

void PairListener::State::wait_for_tones() {
    channels.choose();
    follower.choose(channels.chosen());
    if (!watch().present()) {
        begins = sound.end();
        return;
    }
    if (since(begins) < kBegins) return;
    stage = Stage::speaking;
    ++hearing.tone;
    frames.clear();
    wind = watch().line_power();
    // Two alike cancel each other while they stand against each other: the same sound on.
    heard_both = cancelled();
    was_told = was_told && heard_both;
    both = told = reference_ended = false;
    newcomer.forget();
    begin_again(begins);
}

/// The sound from `at` on is new; its speech isn't listened to.
void PairListener::State::begin_again(FrameIndex at) {
    stage = Stage::speaking;
    moving = false;
    before.reset();
    looked_again = false;
    moved_at.reset();
    hidden.clear();
    changes.restart(sound.end());
    joining.restart(sound.end());
    patience = kLooksAgain;
    shown.forget();
    forget_pace();
    follower.stop();
    hear_from(at + std::llround(speech(spacing()).count() * sound.rate().value()));
    ticked = from;
}

void PairListener::State::hear_speech() {
    if (!watch().present()) {
        if (since(begins) > kChangeHolds) restart();
        return;
    }
    begins = sound.end();
    // What stood out first may have been wind.
    if (watch().line_power() > kToneOverWind * wind) {
        wind = watch().line_power();
        begin_again(sound.end());
    }
    if (since(from) < look_span(kFirstLook) || since(ticked) < kTickYoung) return;
    ticked = sound.end();
    const bool were_two = both;
    both = false;
    told = std::exchange(was_told, false);
    if (!look(std::max(from, back(kLongest)))) return;
    if (set_in_since()) return;
    if (were_two && !both) ++hearing.tone;  // one of them fell silent
    if (reference_ended && !both) alone.forget();
    reference_ended = false;
    stage = Stage::standing;
    steady_since = from;
    joining.restart(sound.end());
    changes.restart(sound.end());
    watch().learn();
}

/// What is heard as one tone set in within the span heard: what was before was wind, or what the
/// last key's pipes left in the room, whose pitch isn't its own. The tone is begun with again.
bool PairListener::State::set_in_since() {
    if (follower.two()) return false;
    const auto at = follower.stood(std::max(from, back(longest())), sound.end()).set_in;
    if (!at) return false;
    alone.forget_since(from);
    begin_again(*at);
    return true;
}

/// `doubt`: as PairPremise::times.
bool PairListener::State::look(FrameIndex at, double doubt) {
    searched = sound.end();
    const bool surely_two = (both && !watch().pipe_missing()) || watch().pipe_sounds();
    const PairPremise premise{surely_two, doubt, moving};
    if (!follower.search(sound, at, sound.end(), request(), premise, before)) return false;
    const bool other_key =
        std::abs(interval(expected->reference, follower.reference()).value()) > kOtherKey.value() ||
        (follower.two() && std::abs(follower.reading().cents.value()) > kOtherKeysPipe.value());
    if (other_key) {
        follower.stop();
        return false;
    }
    both = both || follower.two();
    heard_both = heard_both || both;
    ticked = sound.end();
    changes.look_again(follower.foretold(), moving);
    pace.looked_again();
    newcomer.looked(watch(), since(at), sound.end());
    return true;
}

/// What is followed beside a pipe that has partials of its own, and is known by these, may be that
/// pipe's own unrest: then it is far from as loud as the reference was alone.
bool PairListener::State::other_than_reference() {
    constexpr Decibels kOtherLevel{7.0};
    if (!alone.heard() || !watch().pipe_has_own()) return false;
    const auto off = follower.off_level(alone.heard()->partials);
    return off && *off > kOtherLevel;
}

void PairListener::State::report() {
    hearing.input = meter.level();
    hearing.suspicions = {};
    hearing.suspicions.clipping = hearing.input.clipped > kClippedShare;
    hearing.reference = alone.heard();
    hearing.reading.reset();
    hearing.reference_alone = hearing.perhaps_both = false;
    hearing.heard = Seconds{0.0};
    if (stage != Stage::standing || !follower.active()) {
        hearing.sounding = stage == Stage::silent ? Sounding::silence : Sounding::speaking;
        hearing.drift_hz_a_second.reset();
        return;
    }
    hearing.sounding = hidden.now() ? Sounding::disturbed
                       : moving     ? Sounding::moving
                                    : Sounding::steady;
    // The reference's own unrest, with the wind of a silent pipe, may pass for two.
    const bool missing = follower.two() && watch().pipe_missing();
    hearing.reference_alone = missing || (!follower.two() && !joining.joined());
    hearing.perhaps_both = hearing.reference_alone && !watch().pipe_has_own();
    if (hearing.perhaps_both && hearing.reference) {
        const Hertz hidden_beat{kHidden / (shown_span().count() * expected->reference_partial)};
        hearing.reference->sd =
            Hertz{std::hypot(hearing.reference->sd.value(), 0.5 * hidden_beat.value())};
    }
    if (steps.number(hearing.now) % kFrameEvery == 0) {
        if (frames.size() == frames.capacity()) frames.clear();
        frames.push_back(watch().frame(hearing.now));
    }
    if (hidden.now() || changes.falling() || !follower.two() || missing) return;
    told = told || follower.surely_two() || watch().pipe_sounds();
    hearing.perhaps_both = !told;
    BeatReading reading = pace.now().value_or(follower.reading());
    if (other_than_reference())
        reading =
            alone.beat_with(reading.pipe, expected->reference_partial, expected->pipe_partial);
    reading.beat_sd = Hertz{std::hypot(reading.beat_sd.value(), pace.astray().value())};
    const bool going = moving || pace.now() || pace.astray() > Hertz{0.0};
    hearing.reading = shown.take(reading, shown_span(), Hertz{meets()}, going);
    if (hearing.reading) hearing.heard = pace.now() ? PairPace::kNow : shown_span();
}

}  // namespace rankwright::listening
