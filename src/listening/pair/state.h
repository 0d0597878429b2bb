// What the ear for two pipes keeps between steps; private to pair_listener.cpp, which waits for the
// tones and reports, and pair_standing.cpp, which follows them while they stand.
#pragma once

#include "listening/input_meter.h"
#include "listening/pair/alone.h"
#include "listening/pair/changes.h"
#include "listening/pair/channels.h"
#include "listening/pair/follower.h"
#include "listening/pair/hidden_spans.h"
#include "listening/pair/joining.h"
#include "listening/pair/listener.h"
#include "listening/pair/newcomer.h"
#include "listening/pair/pace.h"
#include "listening/pair/shown.h"
#include "listening/pair/times.h"
#include "listening/sound_history.h"
#include "listening/stream_steps.h"

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

namespace rankwright::listening {

struct PairListener::State {
    enum class Stage { silent, speaking, standing };

    static constexpr Seconds kKept = PairFollower::kHearsBefore + Seconds{0.5};
    static constexpr Seconds kLongest{3.0};
    static constexpr Seconds kLongestBass{4.0};
    static constexpr Hertz kBassPairBelow{130.0};
    static constexpr Seconds kTickYoung{0.1};
    static constexpr Seconds kMovingLook{0.36};
    /// A tone that stands alone is searched again so often.
    static constexpr Seconds kLooksAgain{1.5};
    /// Fewer beats than this in the span: how the sound is shared between the two isn't known.
    static constexpr double kShared = 0.7;

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
    void begin_movement();
    void follow_movement();
    void judge_pace();
    void find_again();
    PairPace::Span pace_span(Seconds heard) const {
        return {heard, sound.end(), sound.rate(), Hertz{meets()}, moved_lately()};
    }
    void hear_from(FrameIndex at) { from = read_from = at; }
    bool moved_lately() const { return moved_at && since(*moved_at) < longest(); }
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
    /// Two that fell silent sound again so soon that no key came between.
    bool cancelled() const {
        constexpr Seconds kNull{0.5};
        return fell_silent && duration(begins - *fell_silent, sound.rate()) <= kNull;
    }
    /// What sounds as one may be both: they were heard, and nothing says that the pipe has ended.
    bool perhaps_still_both() { return heard_both && !watch().pipe_missing(); }
    Seconds shown_span() const {
        return moving ? look_span(kMovingLook) : std::min(since(read_from), longest());
    }
    Seconds longest() const {
        return expected->reference < kBassPairBelow ? kLongestBass : kLongest;
    }
    void begin_again(FrameIndex at);
    bool set_in_since();
    bool other_than_reference();
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
    FrameIndex begins;     // something stands out since
    double wind = 0.0;     // power at the tones' places when something stood out there
    FrameIndex from;       // the span heard
    FrameIndex read_from;  // what is read of it: later, after a movement
    FrameIndex ticked;     // last looked at
    std::optional<FrameIndex> moved_at;  // was seen to move last
    FrameIndex steady_since;             // nothing moved since
    bool both = false;                   // two were heard on this key since it went down
    bool heard_both = false;  // and that hasn't been silent since, whatever else began again
    bool told = false;        // and that beyond doubt
    std::optional<FrameIndex> fell_silent;  // two of which both were heard
    bool was_told = false;  // before one of them, or both, ended or seemed to: until looked anew
    bool reference_ended = false;  // as it seems, until what goes on is found to be one or both
    bool moving = false, looked_again = false;
    FrameIndex searched;
    Seconds patience{kLooksAgain};  // until one that stands alone, or is weak, is searched again
    HiddenSpans hidden;
    std::optional<HeardBefore> before;  // the reference alone, before the pipe joined it
    PairAlone alone;
    std::vector<PartialFrame> frames;
    PairHearing hearing;
};

}  // namespace rankwright::listening
