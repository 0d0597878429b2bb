#include "listening/pair_listener.h"

#include "listening/input_meter.h"
#include "listening/pair_follower.h"
#include "listening/pair_watch.h"
#include "listening/sound_history.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace rankwright::listening {

namespace {

constexpr double kSteps_hz = 100.0;
constexpr int kFrameEvery = 3;  // steps
constexpr Seconds kFramesKept{12.0};
constexpr Seconds kKept{4.3};
constexpr Seconds kLongest{3.0};
constexpr Seconds kLongestBass{4.0};
constexpr Hertz kBassBelow{130.0};
constexpr Seconds kYoung{1.0};
constexpr Seconds kTickYoung{0.1};
constexpr Seconds kTick{0.2};
constexpr Seconds kBegins{0.08};  // so long something must stand out
constexpr Seconds kSpeech{0.12};
constexpr double kSpeechPeriods = 16.0;
constexpr Seconds kFirstLook{0.25};
constexpr double kFirstLookPeriods = 16.0;
constexpr Seconds kMovingLook{0.36};
constexpr Seconds kSecondLook{0.9};
constexpr Seconds kHolds{0.1};
constexpr Seconds kStandsAgain{0.35};
constexpr Seconds kLate{0.6};  // what is compared with the whole
constexpr double kCents = 1731.234;
// Power left over, in shares of what is foretold.
constexpr double kEnded = 0.12;
constexpr double kFalls = 0.35;  // of what a tone usually has
constexpr double kFallen = 0.08;
constexpr Seconds kUsual{0.5};
constexpr Seconds kFallsFor{0.3};
constexpr double kGone = 0.06;
constexpr double kChanged = 0.25;
constexpr double kChangedOfAll = 0.03;
constexpr double kJoined = 0.006;
constexpr double kOverNoise = 8.0;
constexpr double kLateOff = 3.0;    // standard uncertainties
constexpr double kLateCents = 0.3;  // and at least
constexpr double kClippedShare = 5e-4;
constexpr Cents kOtherKey{60.0};
/// Power that a lone tone leaves over, against what it usually leaves, when another joins it.
constexpr double kMoreThanUsual = 6.0;
/// Fewer beats than this in the span: how the sound is shared between the two isn't known.
constexpr double kShared = 0.7;
/// No reading is given that is less sure than both.
constexpr Cents kLooseCents{3.0};
constexpr double kLoose_hz = 0.12;
constexpr std::size_t kMostHidden = 24;
constexpr std::size_t kMostPaces = 24;
constexpr Seconds kDriftOver{2.2};
constexpr Seconds kDriftSeen{0.9};

}  // namespace

struct PairListener::State {
    enum class Stage { silent, speaking, standing };

    explicit State(const Parameters& parameters)
        : rate(parameters.rate),
          channels(parameters.channels),
          sound(parameters.rate, parameters.channels, kKept),
          watch(sound.rate()),
          follower(sound.rate(), kLongestBass) {
        step_frames = sound.thinning() *
                      std::max<std::int64_t>(1, std::lround(sound.rate().value() / kSteps_hz));
        pending.resize(static_cast<std::size_t>(step_frames * channels));
        frames.reserve(static_cast<std::size_t>(kFramesKept.count() * kSteps_hz / kFrameEvery));
        hidden.reserve(kMostHidden);
        paces.reserve(kMostPaces);
        hearing.rate = rate;
    }

    void take(FrameIndex first, std::span<const float> interleaved);
    void lose();
    void restart();
    void analyse();
    void wait_for_tones();
    void hear_speech();
    void stand();
    void note_hidden();
    bool note_changes();
    bool note_end(const PairFollower::Foretold& now);
    void one_is_gone(int which);
    void tick();
    void follow_movement();
    void judge_pace();
    std::optional<double> drift() const;
    bool look(FrameIndex from);
    bool shared() const {
        const Seconds span = std::min(since(from), longest());
        return follower.reading().under ||
               std::abs(follower.reading().beat.value()) * span.count() < kShared;
    }
    Seconds longest() const { return expected->reference < kBassBelow ? kLongestBass : kLongest; }
    void begin_again(FrameIndex at);
    void report();
    void show_reading();
    PairRequest request() const;
    Seconds since(FrameIndex then) const { return duration(sound.end() - then, sound.rate()); }
    FrameIndex back(Seconds by) const {
        const auto frames_back = std::llround(by.count() * sound.rate().value());
        return std::max(sound.begin(), sound.end() + -frames_back);
    }
    double spacing() const { return expected->reference.value() / expected->pipe_partial; }
    Seconds at_least(Seconds time, double periods) const {
        return std::max(time, Seconds{periods / spacing()});
    }

    SampleRate rate;
    int channels;
    SoundHistory sound;
    PairWatch watch;
    PairFollower follower;
    InputMeter meter;
    std::optional<PairExpectation> expected;

    std::vector<float> pending;
    std::int64_t pending_frames = 0, step_frames = 480, step = 0;
    FrameIndex next;
    bool started = false;

    Stage stage = Stage::silent;
    FrameIndex begins;        // something stands out since
    FrameIndex from;          // the span heard
    FrameIndex ticked;        // last looked at
    FrameIndex steady_since;  // nothing moved since
    bool both = false;        // two were heard on this key since it went down
    bool moving = false, looked_again = false;
    FrameIndex changing, ending;  // since when
    double usual_left = 0.0;      // by one tone alone
    bool falling = false;         // one of the two, or both
    FrameIndex fell;              // since when
    double usual[2] = {};         // power of each
    std::optional<FrameIndex> hidden_from;
    std::vector<HiddenSpan> hidden;
    struct Pace {
        double at_s, beat;
    };
    std::optional<Hertz> shown_sd;
    Hertz shown_beat;
    std::vector<Pace> paces;  // beats over the last parts of a second, since the pipe stands
    std::optional<PitchReading> alone;
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
    s.alone.reset();
    s.watch.expect(expected.reference, expected.reference_partial, expected.pipe_partial, s.sound);
    s.restart();
}

void PairListener::process(FrameIndex first, std::span<const float> interleaved) {
    state_->take(first, interleaved);
}

// In steps that begin at whole multiples of their length, so that the size of the pieces changes
// nothing.
void PairListener::State::take(FrameIndex first, std::span<const float> interleaved) {
    if (!started || first != next) lose();
    const auto width = static_cast<std::size_t>(channels);
    std::size_t left = interleaved.size() / width;
    next = first + static_cast<std::int64_t>(left);
    FrameIndex at = first;
    const float* samples = interleaved.data();
    while (left > 0) {
        const std::int64_t into = at.value % step_frames;
        const auto count =
            std::min<std::size_t>(left, static_cast<std::size_t>(step_frames - into));
        for (std::size_t i = 0; i < count * width; ++i)
            pending[static_cast<std::size_t>(pending_frames) * width + i] =
                std::isfinite(samples[i]) ? samples[i] : 0.0F;
        pending_frames += static_cast<std::int64_t>(count);
        samples += count * width;
        left -= count;
        at = at + static_cast<std::int64_t>(count);
        if (at.value % step_frames != 0) continue;
        const std::span<const float> whole(pending.data(),
                                           static_cast<std::size_t>(pending_frames) * width);
        sound.push(at + -pending_frames, whole);
        meter.take(whole);
        pending_frames = 0;
        step = at.value / step_frames;
        hearing.now = at;
        analyse();
    }
}

void PairListener::State::lose() {
    started = true;
    pending_frames = 0;
    restart();
}

void PairListener::State::restart() {
    stage = Stage::silent;
    follower.stop();
    both = moving = false;
    hidden.clear();
    hidden_from.reset();
    begins = changing = ending = sound.end();
}

PairRequest PairListener::State::request() const {
    PairRequest r;
    r.rate = sound.rate();
    r.reference = alone ? alone->pitch : expected->reference;
    r.reference_sd = alone ? alone->sd : expected->reference_sd;
    r.reference_partial = expected->reference_partial;
    r.pipe_partial = expected->pipe_partial;
    return r;
}

void PairListener::State::analyse() {
    if (!expected) return report();
    watch.advance(sound);
    follower.advance(sound);
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
    if (!watch.present()) {
        begins = sound.end();
        return;
    }
    if (since(begins) < kBegins) return;
    stage = Stage::speaking;
    ++hearing.tone;
    frames.clear();
    both = false;
    begin_again(begins);
}

/// The sound from `at` on is new; its speech isn't listened to.
void PairListener::State::begin_again(FrameIndex at) {
    stage = Stage::speaking;
    moving = false;
    looked_again = false;
    hidden.clear();
    hidden_from.reset();
    falling = false;
    usual[0] = usual[1] = usual_left = 0.0;
    shown_sd.reset();
    hearing.drift_hz_a_second.reset();
    paces.clear();
    follower.stop();
    const Seconds speech = at_least(kSpeech, kSpeechPeriods);
    from = at + std::llround(speech.count() * sound.rate().value());
    ticked = from;
}

void PairListener::State::hear_speech() {
    if (!watch.present()) {
        if (since(begins) > kHolds) restart();
        return;
    }
    begins = sound.end();
    if (since(from) < at_least(kFirstLook, kFirstLookPeriods) || since(ticked) < kTickYoung) return;
    ticked = sound.end();
    const bool were_two = both;
    both = false;
    if (!look(std::max(from, back(kLongest)))) return;
    if (were_two && !both) ++hearing.tone;  // one of them fell silent
    stage = Stage::standing;
    steady_since = from;
    changing = ending = fell = sound.end();
    watch.learn();
}

bool PairListener::State::look(FrameIndex at) {
    if (!follower.search(sound, at, sound.end(), request(), both)) return false;
    const bool other_key =
        std::abs(interval(expected->reference, follower.reference()).value()) > kOtherKey.value() ||
        (follower.two() && std::abs(follower.reading().cents.value()) > kOtherKey.value());
    if (other_key) {
        follower.stop();
        return false;
    }
    both = both || follower.two();
    ticked = sound.end();
    return true;
}

void PairListener::State::stand() {
    note_hidden();
    if (!hidden_from && note_changes()) return;
    if (falling) {
        if (since(fell) > kFallsFor) begin_again(fell);
        return;
    }
    fell = sound.end();
    if (moving) return follow_movement();
    const Seconds heard = since(from);
    if (since(ticked) < (heard < kYoung ? kTickYoung : kTick) || hidden_from) return;
    tick();
}

void PairListener::State::note_hidden() {
    if (watch.hidden()) {
        const FrameIndex early = back(watch.lag());
        if (!hidden_from) hidden_from = early;
        changing = sound.end();
        begins = sound.end();
    } else if (hidden_from && since(begins) > watch.lag()) {
        if (hidden.size() == kMostHidden) hidden.erase(hidden.begin());
        hidden.push_back({*hidden_from, sound.end()});
        hidden_from.reset();
        changing = ending = sound.end();
    }
    const FrameIndex oldest = back(kKept);
    while (!hidden.empty() && hidden.front().to <= std::max(from, oldest))
        hidden.erase(hidden.begin());
}

/// True when what sounds is no longer what it was.
bool PairListener::State::note_changes() {
    if (!follower.active()) return false;
    const auto now = follower.foretold();
    if (note_end(now)) return true;
    const double all = now.power[0] + now.power[1];
    const double noise = kOverNoise * now.noise;
    const bool two = follower.two();
    if (!two && usual_left <= 0.0) usual_left = now.left;
    const double least = two ? std::max(kChanged * now.power[1], kChangedOfAll * all)
                             : std::max(kJoined * all, kMoreThanUsual * usual_left);
    const bool changed = !falling && now.left > std::max(noise, least);
    if (!changed) usual_left += (now.left - usual_left) / (kSteps_hz * kUsual.count());
    if (!changed) changing = sound.end();
    if (since(changing) < (two ? 0.6 * kHolds : kHolds)) return false;
    if (!two) {
        begin_again(changing);
        return true;
    }
    for (const int i : {0, 1}) {
        if (shared() || now.without[i] > kGone * now.power[i] + noise) continue;
        one_is_gone(i);
        return true;
    }
    moving = true;
    hearing.drift_hz_a_second.reset();
    paces.clear();
    steady_since = changing = sound.end();
    ticked = back(kTickYoung);
    return false;
}

/// What ends takes its time in a room: no reading while a tone falls, and its end when it fell.
bool PairListener::State::note_end(const PairFollower::Foretold& now) {
    const bool two = follower.two();
    const double memory = 1.0 / (kSteps_hz * kUsual.count());
    const double power[2] = {two ? now.power[0] : now.heard, now.power[1]};
    bool fallen[2] = {false, !two};
    falling = false;
    for (const std::size_t i : {std::size_t{0}, std::size_t{1}}) {
        if (usual[i] <= 0.0) usual[i] = now.usual[i];
        if (i == 1 && !two) break;
        if (two && shared()) continue;
        const bool falls = power[i] < kFalls * usual[i];
        fallen[i] = power[i] < kFallen * usual[i];
        falling = falling || falls;
        if (!falls) usual[i] += memory * (power[i] - usual[i]);
    }
    const bool silent = now.heard < kEnded * now.foretold && now.foretold > kFallen * usual[0];
    if (!silent && !fallen[0] && !(two && fallen[1])) {
        ending = sound.end();
        return false;
    }
    falling = true;
    if (since(ending) < kHolds) return false;
    if (silent || (fallen[0] && fallen[1]))
        restart();
    else
        one_is_gone(fallen[0] ? 0 : 1);
    return true;
}

void PairListener::State::one_is_gone(int which) {
    begin_again(sound.end());
    if (which == 0) alone.reset();
}

void PairListener::State::follow_movement() {
    if (since(ticked) < kTickYoung || hidden_from) return;
    const Seconds window = at_least(kMovingLook, kFirstLookPeriods);
    const FrameIndex at = std::max(back(window), from);
    if (!look(at)) return;
    if (since(steady_since) < kStandsAgain) return;
    moving = false;
    from = at;
    looked_again = false;
}

void PairListener::State::tick() {
    const FrameIndex at = std::max(from, back(longest()));
    ticked = sound.end();
    if (!follower.two() || !looked_again) {
        const bool due = since(from) > kSecondLook;
        if (due && !looked_again) {
            looked_again = true;
            if (!look(at)) restart();
            return;
        }
    }
    if (!follower.follow(at, sound.end(), hidden)) return;
    if (!follower.two()) {
        alone = follower.alone(at, sound.end());
        return;
    }
    judge_pace();
}

/// A whole that no longer says what its end says has grown too long.
void PairListener::State::judge_pace() {
    const Seconds heard = std::min(since(from), longest());
    const double part = std::min(1.0, kLate / heard);
    const auto late = follower.part(0.5 - part, 0.5);
    if (paces.size() == kMostPaces) paces.erase(paces.begin());
    const Seconds now = duration(sound.end() - FrameIndex{}, sound.rate());
    paces.push_back({(now - 0.5 * part * heard).count(), late.beat});
    hearing.drift_hz_a_second = drift();
    if (heard < 2.0 * kLate) return;
    const auto early = follower.part(-0.5, -0.5 + part);
    const double meets = expected->reference_partial * expected->reference.value();
    const double least = kLateCents * meets / kCents;
    if (std::abs(late.beat - early.beat) >
        std::max(kLateOff * std::hypot(late.sd, early.sd), least)) {
        from = back(kLate);
        shown_sd.reset();
        looked_again = true;
    }
}

/// Least-squares slope of the beats of late.
std::optional<double> PairListener::State::drift() const {
    const double newest = paces.back().at_s;
    double count = 0.0, at = 0.0, beat = 0.0;
    for (const Pace& p : paces)
        if (newest - p.at_s < kDriftOver.count()) {
            count += 1.0;
            at += p.at_s;
            beat += p.beat;
        }
    double up = 0.0, down = 0.0;
    for (const Pace& p : paces)
        if (newest - p.at_s < kDriftOver.count()) {
            up += (p.at_s - at / count) * (p.beat - beat / count);
            down += (p.at_s - at / count) * (p.at_s - at / count);
        }
    if (newest - paces.front().at_s < kDriftSeen.count() || down <= 0.0) return std::nullopt;
    return up / down;
}

/// At rest the uncertainty doesn't grow again while the value stays what it was.
void PairListener::State::show_reading() {
    BeatReading reading = follower.reading();
    const double cent = expected->reference_partial * expected->reference.value() / kCents;
    const double loosest = std::max(kLoose_hz, kLooseCents.value() * cent);
    if (!reading.under && reading.beat_sd.value() > loosest) return;
    if (reading.under && reading.under->value() > 4.0 * loosest) return;
    if (!moving && shown_sd && !reading.under) {
        const Hertz moved{std::abs((reading.beat - shown_beat).value())};
        reading.beat_sd = std::min(reading.beat_sd, std::max(*shown_sd, moved));
    }
    shown_sd.reset();
    if (!moving && !reading.under) shown_sd = reading.beat_sd;
    shown_beat = reading.beat;
    hearing.reading = reading;
}

void PairListener::State::report() {
    hearing.input = meter.level();
    hearing.suspicions = {};
    hearing.suspicions.clipping = hearing.input.clipped > kClippedShare;
    hearing.reference = alone;
    hearing.reading.reset();
    hearing.reference_alone = false;
    hearing.heard = Seconds{0.0};
    if (stage != Stage::standing || !follower.active()) {
        hearing.sounding = stage == Stage::silent ? Sounding::silence : Sounding::speaking;
        hearing.drift_hz_a_second.reset();
        return;
    }
    hearing.sounding = hidden_from ? Sounding::disturbed
                       : moving    ? Sounding::moving
                                   : Sounding::steady;
    hearing.reference_alone = !follower.two();
    if (step % kFrameEvery == 0) {
        if (frames.size() == frames.capacity()) frames.clear();
        frames.push_back(watch.frame(hearing.now));
    }
    if (hidden_from || falling || !follower.two()) return;
    show_reading();
    if (!hearing.reading) return;
    hearing.heard =
        moving ? at_least(kMovingLook, kFirstLookPeriods) : std::min(since(from), longest());
}

}  // namespace rankwright::listening
