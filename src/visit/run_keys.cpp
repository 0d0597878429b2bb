// Which pipe it is that sounds: another key, or the pipe before.
#include "visit/run.h"

#include <algorithm>
#include <cmath>

namespace rankwright::visit {

// The helper may have misheard, or the technician has gone elsewhere: a key that goes on sounding
// is meant.
bool Run::follow_key(const tuning::PipeState& state) {
    constexpr Seconds kFromADonePipe{0.7};
    constexpr Seconds kFromAnOpenPipe{1.5};
    if (options_.job == Job::bearings) return false;
    // Stops are drawn with the last key still held, and then sound on it (common practice, no
    // source).
    constexpr Seconds kDrawsStops{6.0};
    if (stop_taken_ && now_.at - *stop_taken_ < kDrawsStops && !keeper_.heard()) return false;
    const bool free = outcomes_[current_].settled || !keeper_.heard();
    const auto key = follower_.hear(now_.at, state.tone, state.wrong_key,
                                    free ? kFromADonePipe : kFromAnOpenPipe);
    if (!key) return false;
    const auto meant = std::find_if(pipes_.begin(), pipes_.end(),
                                    [&](const organ::Pipe& one) { return one.key == *key; });
    if (meant == pipes_.end() || record_.of(meant->id).out_of_reach) return false;
    return go_to(*key);
}

// A mixture's pipes, and a bearing's two notes, are changed while their key is held. And who holds
// a key for longer means it.
bool Run::is_of_pipe_before(const tuning::PipeState& state) {
    constexpr Seconds kMovesOn{5.0};  // common practice, no source
    constexpr Seconds kEnded{0.2};
    constexpr Cents kSame{2.0};
    if (!own_ || job() == Job::mixture || options_.job == Job::bearings) return false;
    if (state.stage != tuning::Stage::waiting)
        own_->silent_since.reset();
    else if (!own_->silent_since)
        own_->silent_since = now_.at;
    own_->ended = own_->ended || (own_->silent_since && now_.at - *own_->silent_since > kEnded);
    if (own_->pipe == pipe().id || now_.at - in_hand_since_ >= kMovesOn) return false;
    // The ear may take what sounds on for a new tone.
    const bool same_pitch = !own_->ended && own_->pitch && state.pitch &&
                            std::abs(interval(*own_->pitch, *state.pitch).value()) < kSame.value();
    return own_->tone == state.tone || same_pitch;
}

}  // namespace rankwright::visit
