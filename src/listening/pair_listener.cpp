#include "listening/pair_listener.h"

#include "listening/hidden_spans.h"
#include "listening/input_meter.h"
#include "listening/pair_alone.h"
#include "listening/pair_changes.h"
#include "listening/pair_channels.h"
#include "listening/pair_follower.h"
#include "listening/pair_joining.h"
#include "listening/pair_newcomer.h"
#include "listening/pair_pace.h"
#include "listening/pair_shown.h"
#include "listening/pair_times.h"
#include "listening/sound_history.h"
#include "listening/stream_steps.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace rankwright::listening {

namespace {

constexpr Seconds kKept = PairFollower::kHearsBefore + Seconds{0.5};
constexpr Seconds kLongest{3.0};
constexpr Seconds kLongestBass{4.0};
constexpr Hertz kBassPairBelow{130.0};
constexpr Seconds kYoungPair{1.0};
constexpr Seconds kTickYoung{0.1};
constexpr Seconds kTick{0.2};
constexpr Seconds kBegins{0.08};  // so long something must stand out
constexpr Seconds kFirstLook{0.25};
constexpr Seconds kMovingLook{0.36};
constexpr Seconds kSecondLook{1.2};
constexpr Seconds kSettles{0.4};  // after speech, until the room is filled and the pitch found
/// A tone over the wind that stood out before it, at least, in power.
constexpr double kToneOverWind = 30.0;
constexpr Seconds kFallsFor{0.3};
constexpr Seconds kStandsAgain{0.35};
constexpr Cents kOtherKey{60.0};       // of the reference
constexpr Cents kOtherKeysPipe{90.0};  // from a reference that is in place
/// A tone that stands alone is searched again so often.
constexpr Seconds kLooksAgain{1.5};
constexpr Seconds kLooksSeldom{12.0};
constexpr Seconds kLookedThrough{1.6};  // a search's cost grows with the span
/// Second tones in what was one, with no sign that another joined it: how much stronger than usual
/// they must be to be believed; and while the room fills, which looks like another tone.
constexpr double kDoubt = 30.0;
constexpr double kDoubtYoung = 10.0;
/// Fewer beats than this in the span: how the sound is shared between the two isn't known.
constexpr double kShared = 0.7;
/// Two that beat no more than this in the span, at the first meeting, may pass for one.
constexpr double kHidden = 0.3;

}  // namespace

struct PairListener::State {
    enum class Stage { silent, speaking, standing };

    explicit State(const Parameters& parameters)
        : rate(parameters.rate),
          sound(parameters.rate, parameters.channels, kKept),
          channels(sound.rate(), parameters.channels),
          follower(sound.rate(), kLongestBass),
          changes(sound.rate()),
          joining(sound.rate()),
          newcomer(sound.rate()),
          steps(parameters.rate, parameters.channels, sound.thinning()) {
        frames.reserve(static_cast<std::size_t>(kFramesKept.count() * kSteps_hz / kFrameEvery));
        hearing.rate = rate;
    }

    void take(FrameIndex first, std::span<const float> interleaved);
    void restart();
    void analyse();
    void wait_for_tones();
    void hear_speech();
    void stand();
    void note_hidden();
    bool note_changes();
    void await_another();
    void tick();
    void tick_when_due();
    void forget_pace() {
        hearing.drift_hz_a_second.reset();
        pace.clear();
    }
    void follow_movement();
    void judge_pace();
    bool look(FrameIndex from, double doubt = 1.0);
    bool shared() const {
        const Seconds span = std::min(since(from), longest());
        return follower.weak() || follower.reading().under ||
               std::abs(follower.reading().beat.value()) * span.count() < kShared;
    }
    /// The one that stands alone, rather than the pipe.
    bool is_reference() const {
        return PairAlone::may_be_reference(follower.reference(), expected->reference,
                                           expected->reference_sd, since(from));
    }
    Seconds shown_span() const {
        return moving ? look_span(kMovingLook) : std::min(since(from), longest());
    }
    Seconds longest() const {
        return expected->reference < kBassPairBelow ? kLongestBass : kLongest;
    }
    void begin_again(FrameIndex at);
    void report();
    PairRequest request() const;
    PairWatch& watch() { return channels.watch(); }
    Seconds since(FrameIndex then) const { return duration(sound.end() - then, sound.rate()); }
    FrameIndex back(Seconds by) const {
        const auto frames_back = std::llround(by.count() * sound.rate().value());
        return std::max(sound.begin(), sound.end() + -frames_back);
    }
    double spacing() const { return expected->reference.value() / expected->pipe_partial; }
    Seconds look_span(Seconds least) const { return at_least(least, kFirstLookPeriods, spacing()); }
    double meets() const { return expected->reference_partial * expected->reference.value(); }

    SampleRate rate;
    SoundHistory sound;
    PairChannels channels;
    PairFollower follower;
    PairChanges changes;
    PairJoining joining;
    PairNewcomer newcomer;
    PairPace pace;
    PairShown shown;
    StreamSteps steps;
    InputMeter meter;
    std::optional<PairExpectation> expected;

    Stage stage = Stage::silent;
    FrameIndex begins;        // something stands out since
    double wind = 0.0;        // power at the tones' places when something stood out there
    FrameIndex from;          // the span heard
    FrameIndex ticked;        // last looked at
    FrameIndex steady_since;  // nothing moved since
    bool both = false;        // two were heard on this key since it went down
    bool heard_both = false;  // and that hasn't been silent since, whatever else began again
    bool moving = false, looked_again = false;
    FrameIndex searched;
    Seconds patience{kLooksAgain};  // until one that stands alone, or is weak, is searched again
    HiddenSpans hidden;
    std::optional<HeardBefore> before;  // the reference alone, before the pipe joined it
    PairAlone alone;
    std::vector<PartialFrame> frames;
    PairHearing hearing;
};

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
    stage = Stage::silent;
    follower.stop();
    both = moving = false;
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
    both = heard_both = false;
    newcomer.forget();
    begin_again(begins);
}

/// The sound from `at` on is new; its speech isn't listened to.
void PairListener::State::begin_again(FrameIndex at) {
    stage = Stage::speaking;
    moving = false;
    before.reset();
    looked_again = false;
    hidden.clear();
    changes.restart(sound.end());
    joining.restart(sound.end());
    patience = kLooksAgain;
    shown.forget();
    forget_pace();
    follower.stop();
    from = at + std::llround(speech(spacing()).count() * sound.rate().value());
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
    if (!look(std::max(from, back(kLongest)))) return;
    if (were_two && !both) ++hearing.tone;  // one of them fell silent
    stage = Stage::standing;
    steady_since = from;
    joining.restart(sound.end());
    changes.restart(sound.end());
    watch().learn();
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
    newcomer.looked(watch(), since(at), sound.end());
    return true;
}

void PairListener::State::stand() {
    note_hidden();
    if (!hidden.now() && note_changes()) return;
    if (!follower.two() && !hidden.now() && !changes.falling()) return await_another();
    if (changes.falling()) {
        if (since(changes.fell()) > kFallsFor) begin_again(changes.fell());
        return;
    }
    if (moving) return follow_movement();
    if (hidden.now()) return newcomer.hide(sound.end());
    if (newcomer.comes(watch(), follower, sound.end())) return begin_again(newcomer.since());
    tick_when_due();
}

void PairListener::State::tick_when_due() {
    if (since(ticked) >= (since(from) < kYoungPair ? kTickYoung : kTick)) tick();
}

void PairListener::State::note_hidden() {
    if (watch().hidden()) {
        hidden.begin(back(watch().lag()));
        begins = sound.end();
        joining.hide(sound.end());
        changes.hide(sound.end());
    } else if (hidden.now() && since(begins) > watch().lag()) {
        hidden.end(sound.end());
        joining.hide(sound.end());
        changes.hide(sound.end());
    }
    hidden.forget_before(std::max(from, back(kKept)));
}

/// True when what sounds is no longer what it was.
bool PairListener::State::note_changes() {
    if (!follower.active()) return false;
    using What = PairChanges::What;
    switch (changes.judge(follower, follower.two() && shared(), sound.end())) {
        case What::nothing:
            return false;
        case What::moved:
            moving = true;
            before.reset();
            forget_pace();
            steady_since = sound.end();
            ticked = back(kTickYoung);
            return false;
        case What::all_gone:
            restart();
            break;
        case What::reference_gone:
            alone.forget();
            begin_again(sound.end());
            break;
        case What::pipe_gone:
            begin_again(sound.end());
            break;
    }
    alone.forget_latest();
    return true;
}

/// One tone is heard. Its own pitch is read until another may have joined it; then that is looked
/// for in what has sounded since.
void PairListener::State::await_another() {
    joining.note(watch().changed(), watch().pipe_sounds(), sound.end());
    if (!joining.joined()) return tick_when_due();
    if (!joining.due(spacing(), sound.end())) return;
    // What was noticed may have been a room that fills, or a beat that has grown since; a pipe with
    // partials of its own says by them when it speaks.
    const auto onset =
        watch().pipe_has_own() ? std::nullopt : follower.onset(from, sound.end(), hidden.ended());
    if (onset) joining.joined_at(*onset);
    const auto spoken = joining.due(spacing(), sound.end());
    if (!spoken) return;
    const bool filling = joining.joined_after(from) < kYoungPair;
    before.reset();
    if (is_reference()) before = joining.before(from, hidden.ended(), *spoken);
    if (!look(std::max(*spoken, back(longest())), filling ? kDoubtYoung : 1.0)) return restart();
    const bool again = joining.looked(sound.end(), filling);
    if (filling) watch().learn();
    if (again && !follower.two()) return;
    from = std::max(*spoken, back(longest()));
    steady_since = from;
    joining.restart(sound.end());
    looked_again = true;
    watch().learn();
}

void PairListener::State::follow_movement() {
    if (since(ticked) < kTickYoung || hidden.now()) return;
    const FrameIndex at = std::max(back(look_span(kMovingLook)), from);
    if (!look(at)) return;
    if (since(steady_since) < kStandsAgain) return;
    moving = false;
    from = at;
    looked_again = false;
}

void PairListener::State::tick() {
    const FrameIndex at = std::max(from, back(longest()));
    ticked = sound.end();
    // Two in tune may be the reference alone, and the pipe come yet, or be missed.
    const bool unsure = !follower.two() || follower.weak() || follower.reading().under;
    const bool due =
        looked_again ? unsure && since(searched) > patience : since(from) > kSecondLook;
    if (due) {
        if (!looked_again) from = from + std::llround(kSettles.count() * sound.rate().value());
        const bool was_two = follower.two();
        if (looked_again) patience = std::min(2.0 * patience, kLooksSeldom);
        looked_again = true;
        if (!look(std::max({from, at, back(kLookedThrough)}), was_two ? 1.0 : kDoubt))
            return restart();
        // What was read as the reference alone were both.
        if (!was_two && follower.two()) alone.forget();
        return;
    }
    if (!follower.follow(at, sound.end(), hidden.ended())) return;
    if (!follower.two()) {
        // Two that beat slowly pass for one while they stand against each other.
        if (heard_both && !watch().pipe_missing()) return;
        if (is_reference()) alone.learn(follower.alone(at, sound.end()));
        return;
    }
    judge_pace();
}

void PairListener::State::judge_pace() {
    pace.judge(follower,
               {std::min(since(from), longest()), sound.end(), sound.rate(), Hertz{meets()}});
    hearing.drift_hz_a_second = pace.drift();
    if (!pace.outgrown()) return;
    from = back(PairPace::kEnd);
    shown.forget();
    looked_again = true;
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
    hearing.reading = shown.take(pace.now().value_or(follower.reading()), shown_span(),
                                 Hertz{meets()}, moving || pace.now());
    if (hearing.reading) hearing.heard = pace.now() ? PairPace::kNow : shown_span();
}

}  // namespace rankwright::listening
