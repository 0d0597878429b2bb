#include "listening/pair/state.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

constexpr Seconds kYoungPair{1.0};
constexpr Seconds kTick{0.2};
constexpr Seconds kSecondLook{1.2};
constexpr Seconds kSettles{0.4};  // after speech, until the room is filled and the pitch found
constexpr Seconds kFallsFor{0.3};
constexpr Seconds kStandsAgain{0.35};
constexpr Seconds kLooksSeldom{12.0};
constexpr Seconds kLookedThrough{1.6};  // a search's cost grows with the span
/// Second tones in what was one, with no sign that another joined it: how much stronger than usual
/// they must be to be believed; and while the room fills, which looks like another tone.
constexpr double kDoubt = 30.0;
constexpr double kDoubtYoung = 10.0;

}  // namespace

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
            begin_movement();
            return false;
        case What::all_gone:
            restart();
            break;
        case What::reference_gone:
            // Of two that hardly beat it may only seem so.
            reference_ended = true;
            [[fallthrough]];
        case What::pipe_gone:
            was_told = told;
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
    auto spoken = joining.due(spacing(), sound.end());
    if (!spoken) return;
    // What was noticed may have been a room that fills, or a beat that has grown since; a pipe with
    // partials of its own says by them when it speaks.
    const auto onset =
        watch().pipe_has_own() ? std::nullopt : follower.onset(from, sound.end(), hidden.ended());
    if (onset) {
        joining.joined_at(*onset);
        spoken = joining.due(spacing(), sound.end());
        if (!spoken) return;
    }
    const bool filling = joining.joined_after(from) < kYoungPair;
    before.reset();
    if (is_reference() && !perhaps_still_both())
        before = joining.before(from, hidden.ended(), *spoken);
    if (!look(std::max(*spoken, back(longest())), filling ? kDoubtYoung : 1.0)) return restart();
    if (set_in_since()) return;
    const bool again = joining.looked(sound.end(), filling);
    if (filling) watch().learn();
    if (again && !follower.two()) return;
    hear_from(std::max(*spoken, back(longest())));
    steady_since = from;
    joining.restart(sound.end());
    looked_again = true;
    watch().learn();
}

void PairListener::State::begin_movement() {
    moving = true;
    before.reset();
    forget_pace();
    steady_since = sound.end();
    ticked = back(kTickYoung);
}

void PairListener::State::follow_movement() {
    if (since(ticked) < kTickYoung || hidden.now()) return;
    const FrameIndex at = std::max(back(look_span(kMovingLook)), from);
    if (!look(at)) return;
    if (follower.two()) pace.read_end(follower, pace_span(since(at)));
    if (since(steady_since) < kStandsAgain) return;
    moving = false;
    moved_at = sound.end();
    hear_from(at);
    looked_again = false;
}

void PairListener::State::tick() {
    const FrameIndex at = std::max(from, back(longest()));
    ticked = sound.end();
    // Two in tune may be the reference alone, and the pipe come yet, or be missed.
    // What was moved to where it hardly beats is known from before.
    const bool moved = read_from > at;
    const bool unsure = !follower.two() || follower.weak() || (follower.reading().under && !moved);
    // What moves is looked through when it stands.
    const bool due = looked_again ? unsure && since(searched) > patience
                                  : since(from) > kSecondLook && !pace.now();
    if (due) {
        if (!looked_again) hear_from(from + std::llround(kSettles.count() * sound.rate().value()));
        const bool was_two = follower.two();
        if (looked_again) patience = std::min(2.0 * patience, kLooksSeldom);
        looked_again = true;
        if (!look(std::max({from, at, back(kLookedThrough)}), was_two ? 1.0 : kDoubt))
            return restart();
        // What was read as the reference alone were both.
        if (!was_two && follower.two()) alone.forget();
        return;
    }
    if (!follower.follow(at, std::max(at, read_from), sound.end(), hidden.ended())) return;
    if (!follower.two()) {
        // Two that beat slowly pass for one while they stand against each other.
        if (perhaps_still_both()) return;
        if (set_in_since() || follower.stood(at, sound.end()).falls) return;
        if (newcomer.drowns(watch(), follower, sound.end())) return;
        if (is_reference()) alone.learn(follower.alone(at, sound.end()));
        return;
    }
    judge_pace();
}

/// Where they were followed to they aren't: what was moved too fast, or is too soft beside the
/// other, for its movement to be seen.
void PairListener::State::find_again() {
    before.reset();
    forget_pace();
    shown.forget();
    hear_from(std::max(from, back(look_span(PairPace::kEnd))));
    moved_at = sound.end();
    if (!look(from)) restart();
}

void PairListener::State::judge_pace() {
    pace.judge(follower, pace_span(shown_span()));
    hearing.drift_hz_a_second = pace.drift();
    // A path that was followed through the pure interval may as well have turned back there.
    if (pace.came_near()) return begin_movement();
    if (pace.lost()) return find_again();
    if (!pace.outgrown()) return;
    // How two share the sound is told by all of it, unless its end tells that too.
    moved_at = sound.end();
    read_from = back(PairPace::kEnd);
    if (std::abs(pace.latest().value()) * PairPace::kEnd.count() > kShared) from = read_from;
    if (!pace.now()) {
        follower.read(read_from);
        pace.read_end(follower, pace_span(shown_span()));
    }
    shown.forget();
    looked_again = true;
}

}  // namespace rankwright::listening
