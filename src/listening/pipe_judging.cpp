#include "core/multiple.h"
#include "listening/pipe_state.h"

#include <algorithm>
#include <cmath>
#include <utility>

namespace rankwright::listening {

namespace {

constexpr Seconds kLongestTrial{0.8};
constexpr Seconds kTrialLeftAlone{0.05};
constexpr double kPeriodsHeard = 9.0;     // so that an octave below would have shown
constexpr Seconds kRepeatSeen{0.06};      // so long after the note spoke again
constexpr double kSpeaksAgain_db = 80.0;  // a second
constexpr Seconds kSameTone{0.7};         // a better note found so soon is the same tone
constexpr Seconds kYoungReading{0.25};
constexpr Cents kYoungSd{3.0};
constexpr Cents kVoiceGlides{8.0};        // in 50 ms; a pipe doesn't
constexpr double kKnockFalls_db = -20.0;  // a second
constexpr double kExplainsBetter = 1.2;   // the share of power it explains, for another note
constexpr double kExplainsAsMuch = 0.95;
constexpr double kOwnPartials = 0.2, kSoftPartials = 0.02;
constexpr int kLooksAtOwn = 4, kLooksAtSoft = 6;
constexpr double kOwnSways = 1.5, kAwaitedSways = 3.0;  // ringing falls by more
constexpr double kHardlyAny = 0.004;
constexpr int kHighestMultiple = 40;
constexpr int kHighestOverblown = 3;  // a stopped pipe sounds the twelfth
constexpr double kOwnBesideAwaited = 0.05;
constexpr Seconds kLongestRing{3.0};
constexpr double kNoteUnder_db = 5.0;
constexpr Seconds kRingHolds{0.4};
constexpr double kRingFalls_db = -5.0;  // a second, even in a church
constexpr double kPartialUnder_db = 12.0;
constexpr double kLeastShare = 0.1;  // of all power, to be taken for a pipe
constexpr double kMostOfIt = 0.5;
constexpr Seconds kMultipleStands{0.5};  // a pipe's upper partials may speak before the rest
constexpr double kLeastAwaited = 0.01;
constexpr double kLeastAtMains = 0.8;
constexpr Seconds kOwnAgain{0.07};  // between looks at them: longer in all than a word lasts
constexpr double kExplainsSome = 0.7;
constexpr Seconds kSureAfter{0.1};
constexpr Seconds kWindBlows{3.0};  // on after it was heard
constexpr double kAboveWind_db = 6.0;
constexpr double kUnderPipes_db = 20.0;  // common practice, no source
constexpr Seconds kStandsInWind{0.6};    // a pipe as soft as that

/// How many times as high, twice or more; 0: by no whole number.
int multiple(Hertz note, Hertz pitch, Cents within) {
    const int number = partial_near(note, pitch, within).value_or(0);
    return number > 1 ? number : 0;
}

}  // namespace

void PipeListener::State::judge_active() {
    if (!active.active()) return;
    if (soft_as_wind(active) && active.only_wind()) {
        wind = {active.level_db(), sound.end() + frames_of(kWindBlows)};
        active.stop();
    } else if (active.repeated()) {
        try_note(active.pitch(), sound.end() + -frames_of(kRepeatSeen));
        active.stop();
    } else if (active.ended()) {
        if (active.steady_hops() * active.hop() > kStandsInWind)
            loudest_db = std::max(loudest_db.value_or(-200.0), active.steady_level_db());
        last = {active.pitch(), active.steady_level_db(), sound.end()};
        active.stop();
    } else if (!trial.active()) {
        if (const int times = overblown(active); times > 1)
            try_note(times * active.pitch(), active.onset());
    }
}

void PipeListener::State::judge_trial() {
    begin_trial();
    if (!trial.active()) return;
    const Seconds age = duration(sound.end() - trial_began, sound.rate());
    const double slope = trial.level_slope_db(Seconds{0.05});
    const bool only_wind = soft_as_wind(trial) && trial.only_wind();
    if (only_wind) wind = {trial.level_db(), sound.end() + frames_of(kWindBlows)};
    if (trial.ended() || age > kLongestTrial || (age > kSureAfter && slope < kKnockFalls_db))
        trial.stop();
    else if (age > kSureAfter && (trial.repeated() || slope > kSpeaksAgain_db))
        try_note(trial.pitch(), sound.end() + -frames_of(kRepeatSeen));
    else if (!only_wind && trial_is_a_pipe())
        adopt_trial();
}

void PipeListener::State::begin_trial() {
    const auto& found = finder.candidate();
    if (!found) return;
    const auto same = [&](Hertz pitch) { return apart(pitch, found->pitch) < kSameNote; };
    if (active.active() && same(active.pitch())) return;
    // A trial gives way to a lower note (it was one of its partials), or when it came to nothing.
    if (trial.active()) {
        const Seconds age = duration(sound.end() - trial_began, sound.rate());
        const Seconds patience = kTrialLeftAlone + Seconds{6.0 / trial.pitch().value()};
        const bool lower = found->pitch < trial.pitch() && age > kTrialLeftAlone;
        if (same(trial.pitch()) || !(lower || (!trial.coherent() && age > patience))) return;
    }
    try_note(found->pitch, found->onset);
    doubtful = found->octave_doubtful;
}

void PipeListener::State::try_note(Hertz pitch, FrameIndex onset) {
    if (!trial.can_follow(pitch)) return;
    trial.start(sound, pitch, onset);
    trial_began = sound.end();
}

// A room's reverberation rises and falls by itself: for some seconds the last note, or one of its
// partials, is a pipe only when nearly as loud as the note was.
bool PipeListener::State::only_rings(const ToneFollower& tone) const {
    if (!last || duration(sound.end() - last->at, sound.rate()) > kLongestRing) return false;
    const auto partial = partial_near(last->pitch, tone.pitch(), kSameNote);
    if (!partial) return false;
    // What holds its level isn't ringing, however soft it is.
    const Seconds heard = duration(sound.end() - tone.onset(), sound.rate());
    if (heard > kRingHolds && tone.level_slope_db(kRingHolds) > kRingFalls_db) return false;
    return tone.level_db() < last->level_db - (*partial > 1 ? kPartialUnder_db : kNoteUnder_db);
}

// Wind in a silent pipe is far softer than the pipes beside it, once one of them was heard.
bool PipeListener::State::soft_as_wind(const ToneFollower& tone) const {
    return taken_out.empty() && (!loudest_db || tone.level_db() < *loudest_db - kUnderPipes_db);
}

// For a moment wind in a narrow band stands like a tone, the longer the deeper it is.
bool PipeListener::State::is_still_wind(const ToneFollower& tone) const {
    return sound.end() < wind.until && tone.level_db() < wind.level_db + kAboveWind_db &&
           tone.steady_hops() * tone.hop() < kStandsInWind;
}

// Hardly anything but every m-th partial: it is the note m times as high. Nor do a blower's line
// and the awaited pipe, which happens to stand at a multiple of it, make a pipe.
bool PipeListener::State::is_of_another_note(const ToneFollower& tone) const {
    for (int m = 2; m <= kHighestMultiple; ++m)
        if (tone.share_beside(m) < kHardlyAny) return true;
    if (!expected) return false;
    const int m = multiple(tone.pitch(), *expected, kSameNote);
    return m > 0 && (tone.share_beside(m) < kOwnBesideAwaited || tone.standing_beside(m) < 2);
}

bool PipeListener::State::awaited(const ToneFollower& tone) const {
    return expected && apart(*expected, tone.pitch()) < 2.0 * kSameNote;
}

// In whole numbers, either way round: so far it may be some partials of the awaited pipe.
bool PipeListener::State::is_multiple_of_awaited(const ToneFollower& tone) const {
    return expected && (multiple(tone.pitch(), *expected, kSameNote * 2.0) > 0 ||
                        multiple(*expected, tone.pitch(), kSameNote * 2.0) > 0);
}

// An overblown pipe speaks with its body before it sounds the octave or twelfth: which partial of
// `tone` it sounds, 1 for a pipe like any other.
int PipeListener::State::overblown(const ToneFollower& tone) const {
    if (awaited(tone)) return 1;
    for (int m = 2; m <= kHighestOverblown; ++m) {
        bool lost = tone.steady_hops() * tone.hop() > 2.0 * kOwnAgain;
        for (int i = 0; i < 3 && lost; ++i) {
            const double beside = tone.share_beside(m, i * kOwnAgain);
            lost = beside < kHardlyAny ||
                   is_overblown(tone.pitch(), tone.fundamental_share(i * kOwnAgain), beside);
        }
        if (lost) return m;
    }
    return 1;
}

bool PipeListener::State::trial_is_a_pipe() const {
    if (!trial.coherent() || !trial.well_tuned() || trial.steady_hops() < 4) return false;
    if (is_still_wind(trial)) return false;
    if (only_rings(trial)) return false;
    if (is_of_another_note(trial)) return false;
    const Seconds heard = duration(sound.end() - trial.onset(), sound.rate());
    const bool is_awaited = awaited(trial);
    // Hum at rest is in nobody's way; as a pipe it must stand clear.
    const double least = is_awaited                   ? kLeastAwaited
                         : is_at_mains(trial.pitch()) ? kLeastAtMains
                                                      : kLeastShare;
    if (trial.share() < least) return false;
    if (!is_awaited && heard.count() * trial.pitch().value() < kPeriodsHeard) return false;
    if (!active.active() && is_multiple_of_awaited(trial) && heard < kMultipleStands) return false;
    const bool young = heard < kYoungReading;
    // It may be the even partials of a note an octave lower, which the next look finds.
    if (!is_awaited && young && trial.share() < kMostOfIt) return false;
    if (young && trial.sd() > kYoungSd) return false;
    if (std::abs(trial.recent_glide().value()) > kVoiceGlides.value()) return false;
    if (trial.level_slope_db(Seconds{0.05}) < kKnockFalls_db) return false;
    return !active.active() || trial_replaces_active();
}

// Two notes are heard at once while the last one rings in the room.
bool PipeListener::State::trial_replaces_active() const {
    if (active.ending()) return true;
    const Seconds age = trial.steady_hops() * trial.hop();
    // An octave (or more) below: its own partials must stand, unlike a knock's.
    if (const int m = multiple(trial.pitch(), active.pitch(), kSameNote); m > 0)
        return own_partials_stand(m);
    if (!active.disturbed() && trial.share() > kExplainsBetter * active.share()) return true;
    if (age < kSureAfter) return false;
    // A multiple that explains as much: the other partials have gone.
    if (const int m = multiple(active.pitch(), trial.pitch(), kSameNote); m > 0)
        return trial.share() > kExplainsAsMuch * active.share() || overblown(active) == m;
    return active.disturbed() && trial.sd() < kFirstReading &&
           trial.share() > kExplainsSome * active.share();
}

// Whether the trial's partials stand that aren't every m-th one. In a node of the room they may be
// soft; then the lowest must be heard as well, as it isn't of an overblown pipe. An awaited treble
// may have no other, and there it comes and goes.
bool PipeListener::State::own_partials_stand(int m) const {
    const bool is_awaited = awaited(trial);
    if (trial.standing_beside(m) < (is_awaited ? 1 : 2)) return false;
    const bool soft = trial.share_beside(m) < kOwnPartials;
    const bool may_be_soft = m <= kHighestOverblown && trial.pitch() > kFundamentalHeard &&
                             !is_at_mains(trial.pitch()) && !awaited(active);
    if (soft && !may_be_soft) return false;
    const int looks = soft ? kLooksAtSoft : kLooksAtOwn;
    double least = 1.0;
    double most = 0.0;
    double lowest = 1.0;
    for (int i = 0; i < looks; ++i) {
        const double own = trial.share_beside(m, i * kOwnAgain);
        least = std::min(least, own);
        most = std::max(most, own);
        lowest = std::min(lowest, trial.fundamental_share(i * kOwnAgain));
    }
    if (trial.steady_hops() * trial.hop() < looks * kOwnAgain ||
        most > (is_awaited ? kAwaitedSways : kOwnSways) * least)
        return false;
    if (is_awaited) return least > kSoftPartials;
    if (!soft) return least > kOwnPartials;
    return least > kSoftPartials && !is_overblown(trial.pitch(), lowest, least);
}

void PipeListener::State::adopt_trial() {
    const bool same_tone = active.active() && !active.ending() &&
                           duration(sound.end() - active.onset(), sound.rate()) < kSameTone;
    std::swap(active, trial);
    trial.stop();
    if (same_tone) return;
    ++hearing.tone;
    hearing.tone_began = of_stream(active.onset());
    first_pitch = active.pitch();
    frames.clear();
}

}  // namespace rankwright::listening
