// What the run keeps of each pipe, and how it follows the helper and the pipe.
#include "visit/run.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <utility>

namespace rankwright::visit {

namespace {

constexpr Seconds kOneTouch{2.0};

}  // namespace

Seconds Run::cools_for(const PipeId& pipe) const {
    const auto handled = handled_.find(pipe);
    if (handled == handled_.end()) return Seconds{0.0};
    return std::max(Seconds{0.0}, handled->second.stands_from - now_.at);
}

// Five minutes: from memory, and from the bass, which cools slowest. A reed's wire creeps on for
// some two minutes (common practice, no source).
void Run::note_handling(Seconds hand, Seconds touched_last, bool warm) {
    constexpr Seconds kCools{300.0};
    constexpr Seconds kCreeps{120.0};
    const bool cooled = has_cooled(pipe().id);
    Handling& handling = handled_[pipe().id];
    handling.hand = cooled ? hand : handling.hand + hand;
    if (warm) handling.stands_from = touched_last + (pipe().make.reed() ? kCreeps : kCools);
}

std::optional<Run::Wait> Run::wait() const {
    const PipeRecord& here = record_.of(pipe().id);
    const bool was_left = sounds_on_ || outcomes_[current_].again || here.list == ListState::done;
    if (outcomes_[current_].again && has_cooled(pipe().id)) return std::nullopt;
    const bool no_work = here.out_of_reach || (!keeper_.heard() && !here.faults.empty());
    if (at_work() || !(was_left || no_work) || anything_ahead()) return std::nullopt;
    std::optional<Wait> soonest;
    const auto add = [&](const organ::Pipe& one) {
        const Seconds left = cools_for(one.id);
        if (!soonest || left < soonest->left) soonest = {left, one.make.reed()};
    };
    if (options_.only_listed) {
        for (const ListedPipe& one : list().pipes)
            if (one.to_do() && one.state == ListState::hear_again) add(one.pipe);
        return soonest;
    }
    if (next_stop()) return std::nullopt;
    const auto add_all = [&](const std::vector<organ::Pipe>& pipes) {
        for (const organ::Pipe& one : pipes)
            if (record_.of(one.id).list == ListState::hear_again) add(one);
    };
    add_all(pipes_);
    for (const StopToWorkAt& other : to_work_at_)
        add_all(other.pipes);
    return soonest;
}

bool Run::has_cooled(const PipeId& pipe) const { return cools_for(pipe) <= Seconds{0.0}; }

// A hand's touch warms a small flue pipe by some tenths of a cent, and it takes minutes to cool
// (from memory); a reed's tongue hears little of it, but its wire, driven far, creeps on by up to a
// tenth of the way (common practice, no source). What was done to it before isn't over because it
// was touched once more.
bool Run::is_warm() const {
    constexpr Cents kWarmsBy{0.3};
    constexpr double kCreepsBy = 0.1;
    if (!has_cooled(pipe().id)) return true;
    if (!was_touched()) return false;
    const Cents tolerance = tuning::tolerance_at(target_of(pipe()));
    if (pipe().make.reed()) return keeper_.moved_by() * kCreepsBy > tolerance;
    return std::max(kWarmsBy * std::max(1, keeper_.touches()), warmth().by) > tolerance * 0.5;
}

ListState Run::state_on_leaving() const {
    // Held while it cools, it goes flat: that says nothing.
    const bool cools = outcomes_[current_].again && !has_cooled(pipe().id);
    if (cools && !was_touched()) return ListState::hear_again;
    if (!outcomes_[current_].settled) return ListState::open;
    if (!is_warm()) return ListState::done;
    return does_not_stay(record_.of(pipe().id)) ? ListState::open : ListState::hear_again;
}

std::optional<Run::LeftOpen> Run::left_open() const {
    constexpr Seconds kSaidFor{10.0};
    if (!left_open_ || now_.at - left_open_->at >= kSaidFor) return std::nullopt;
    return LeftOpen{left_open_->pipe.note, is_waited_for(left_open_->pipe.id)};
}

void Run::leave_pipe() {
    constexpr Seconds kTried{3.0};
    // What is heard of a silent pipe is its wind; and of one that was left what sounds on.
    const bool only_wind = is_dead(pipe().id) && !outcomes_[current_].settled;
    if (only_wind || sounds_on_) keeper_.turn_to(true);
    const bool worked_at = keeper_.heard();
    sounds_on_ = sounds_on_ || worked_at;
    const bool touched = was_touched();
    const bool all_sure = touched_last_ && keeper_.touches() == keeper_.sure_touches();
    const ListState state = state_on_leaving();
    if (!touched) learn_cooling();
    // Where not all are sure it may have been moved just now.
    if (worked_at && touched) note_handling(hand_, all_sure ? *touched_last_ : now_.at, is_warm());
    for (KeptReading& reading : keeper_.leave())
        note(std::move(reading));
    forget_hand();
    PipeOutcome& outcome = outcomes_[current_];
    if (!worked_at) {
        if (is_dead(pipe().id) && now_.at - in_hand_since_ > kTried) given_up_.insert(pipe().id);
        return;
    }
    given_up_.erase(pipe().id);
    outcome.open = state == ListState::open;
    outcome.again = state == ListState::hear_again;
    // Said anew after each reading: what was kept after its state counts as done with.
    const PipeRecord& known = record_.of(pipe().id);
    if (known.list != state || known.after_serial > known.list_serial)
        note(ListChange{pipe().id, state});
    if (outcome.open) left_open_ = {pipe(), now_.at};
    if (outcome.open)
        ++tries_[pipe().id];
    else
        tries_.erase(pipe().id);
    put_off_.at.reset();
    if (!touched) return;
    if (outcome.settled) hold_pitch();
    pitch_.moved(pipe().id);
    hear_dependents_again();
}

void Run::set_out_of_reach(bool out) { note(OutOfReach{pipe().id, out}); }

void Run::note_fault(const std::string& fault, const std::string& words) {
    note(Fault{pipe().id, fault, words});
}

bool Run::undo() {
    const auto about = record_.undo(now_.wall);
    if (!about) return false;
    // As if it hadn't been heard yet: what is undone mustn't be kept again on leaving.
    keeper_.turn_to(record_.of(pipe().id).before.has_value());
    recall_outcomes();
    const auto of_this_stop = std::find_if(pipes_.begin(), pipes_.end(),
                                           [&](const auto& one) { return one.id == *about; });
    if (of_this_stop != pipes_.end())
        turn_to(static_cast<std::size_t>(of_this_stop - pipes_.begin()));
    return true;
}

void Run::note_day() {
    if (day_.temperature) note(AirReading{{}, *day_.temperature, day_.humidity});
    for (const auto& [place, air] : day_.places)
        note(AirReading{place, air, std::nullopt});
    if (!day_.pitch) return recall_pitch();
    noted_pitch_ = day_.pitch;
    note(PitchReading{*day_.pitch, false});
}

// A rank that was begun at one A isn't finished at another. Later the air may have changed (common
// practice, no source): then it is found anew.
void Run::recall_pitch() {
    constexpr std::chrono::hours kGoesOn{2};
    const std::vector<BookEntry> entries = counted(record_.entries());
    const auto last = std::find_if(entries.rbegin(), entries.rend(), [](const BookEntry& entry) {
        return std::holds_alternative<PitchReading>(entry.matter);
    });
    if (last == entries.rend() || now_.wall - last->at > kGoesOn) return;
    noted_pitch_ = std::get<PitchReading>(last->matter).a;
    pitch_.give(noted_pitch_);
    day_.pitch = pitch_.a();
}

void Run::note_pitch() {
    // What the references tell to a fifth of a cent; less isn't news.
    constexpr Cents kNews{0.2};
    if (!day_.pitch) return;
    if (noted_pitch_ && std::abs(interval(*noted_pitch_, *day_.pitch).value()) < kNews.value())
        return;
    noted_pitch_ = day_.pitch;
    note(PitchReading{*day_.pitch, true});
}

Hertz Run::home_of(const organ::Pipe& pipe) const { return organ::target(instrument_, pipe, {}); }

Cooling::Warmth Run::warmth() const {
    if (pipe().make.reed()) return {};
    Seconds hand = hand_;
    if (!has_cooled(pipe().id)) hand += handled_.at(pipe().id).hand;
    return cooling_.after(pipe().id, home_of(pipe()), hand);
}

// Touches follow one another too fast to be told apart: how long the hand was at the pipe tells how
// warm it made it. The time between two of them, in which the pipe is listened to, is none.
void Run::follow_hand(int touches_before, bool moves) {
    const bool touched = keeper_.sure_touches() > touches_before || keeper_.in_motion();
    // A warm pipe that is moved down may come to stand where it stood.
    if (!touched && !(was_told_ && moves)) return;
    if (hand_ == Seconds{0.0}) {
        learn_cooling();
        hand_ = kOneTouch;
    } else if (touched && touched_last_) {
        hand_ += std::min(kOneTouch, now_.at - *touched_last_);
    }
    if (touched) touched_last_ = now_.at;
}

// Who is told to move a pipe does, though it may not be heard to be moved: what was off and then
// settles was touched. Wander alone may bring it in: a touch too many costs another hearing, and no
// false figure, as it never makes a pipe less warm than it was.
bool Run::was_touched() const {
    return keeper_.touched() || hand_ > Seconds{0.0} || (was_told_ && outcomes_[current_].settled);
}

// It has stood off its target on the screen before the advice came: the hand may be waiting for it,
// and a tap that follows at once can be too small to be heard as one.
void Run::follow_advice(const tuning::PipeState& state) {
    if (state.stage == tuning::Stage::moving) return;
    const Cents tolerance = tuning::tolerance_at(target_of(pipe()));
    if (!state.advice || state.stage != tuning::Stage::reading ||
        std::abs(state.deviation->value()) <= tolerance.value())
        return told_since_.reset();
    if (!told_since_) told_since_ = now_.at;
    was_told_ = true;
    if (state.pitch && state.uncertainty)
        unanswered_.asked(*state.pitch, *state.uncertainty, now_.at);
}

// As it was left against as it was found again, nobody having touched it.
void Run::learn_cooling() {
    constexpr Cents kKnownTo{0.3};
    constexpr double kClearly = 2.5;  // standard uncertainties
    const auto& cool = keeper_.taken_up();
    const auto handled = handled_.find(pipe().id);
    if (!left_warm_ || !cool || handled == handled_.end() || handled->second.hand <= Seconds{0.0} ||
        pipe().make.reed())
        return;
    const Cents fell = cool->reference == left_warm_->reference
                           ? left_warm_->deviation - cool->deviation
                           : interval(cool->pitch, left_warm_->pitch);
    const Cents doubt{std::hypot(left_warm_->uncertainty.value(), cool->uncertainty.value())};
    if (doubt > kKnownTo && fell <= doubt * kClearly) return;
    cooling_.fell(pipe().id, home_of(pipe()), handled->second.hand, fell);
    handled->second.hand = Seconds{0.0};
}

// What couldn't be settled by beats the last time is heard by itself at once, where its reference
// was tuned and is well enough known.
bool Run::was_left_alone() const {
    constexpr double kKnownTo = 0.8;  // of the tolerance, as for settling alone
    const auto& left = record_.of(pipe().id).after;
    const auto reference = reference_of(pipe());
    const auto stands = reference ? record_.of(reference->pipe.id).after : std::nullopt;
    if (!stands || !stands->settled || !left || !left->settled || left->reference ||
        !outcomes_[current_].again)
        return false;
    const auto doubt = heard_before(reference->pipe).uncertainty();
    const Hertz meeting = target_of(pipe()) * reference->pipe_partial;
    return doubt && *doubt <= tuning::tolerance_at(meeting) * kKnownTo;
}

std::optional<KeptReading> Run::figure_of(const tuning::PipeState& state) const {
    if (!state.pitch || !state.deviation || !state.uncertainty) return std::nullopt;
    KeptReading figure;
    figure.pipe = pipe().id;
    figure.pitch = *state.pitch;
    figure.deviation = *state.deviation + warmth().by;
    figure.target = transpose(*state.pitch, -figure.deviation);
    figure.uncertainty = *state.uncertainty;
    figure.heard = state.heard;
    figure.settled = state.stage == tuning::Stage::settled;
    figure.air = organ::temperature_of(day_, pipe().id.division);
    return figure;
}

// Held while it cools, or others do, a pipe goes flat: nobody touched it for that.
bool Run::only_cools(const KeptReading& figure) const {
    constexpr Cents kWanders{1.0};
    const auto& left = record_.of(figure.pipe).after;
    if (!left || figure.reference != left->reference) return false;
    const Cents rose = figure.deviation - left->deviation;
    return rose <= kWanders && rose > -Cooling::kMost;
}

void Run::follow_silence(tuning::Stage stage) {
    using tuning::Stage;
    if (hears_before_ || waits_ || over_) return unheard_.begin();
    const bool reads = stage == Stage::reading || stage == Stage::moving || stage == Stage::settled;
    unheard_.follow(reads                     ? Unheard::Heard::the_pipe
                    : stage == Stage::waiting ? Unheard::Heard::nothing
                                              : Unheard::Heard::something,
                    target_of(pipe()), now_.at);
}

bool Run::follow(const tuning::PipeState& state) {
    hears_before_ = is_of_pipe_before(state);
    return follow(state, figure_of(state));
}

bool Run::follow(const tuning::PipeState& state, const std::optional<KeptReading>& figure) {
    using tuning::Stage;
    // Held while others cool, a pipe that is done wanders: that says nothing.
    const bool waited = std::exchange(waits_, wait().has_value());
    if (waited && !waits_ && end_wait()) return true;
    follow_silence(state.stage);
    if (hears_before_) return false;
    PipeOutcome& outcome = outcomes_[current_];
    const bool own = state.stage == Stage::reading || state.stage == Stage::moving ||
                     (state.stage == Stage::settled && state.deviation);
    // Played again, it is worked at anew.
    if (own && own_ && own_->pipe == pipe().id && own_->ended) sounds_on_ = false;
    if (!sounds_on_ && state.counts && state.deviation &&
        (state.stage == Stage::reading || state.stage == Stage::settled)) {
        if (!outcome.first) outcome.first = state.deviation;
        outcome.last = state.deviation;
    }
    // Nor does one that was left and sounds on, until it is touched.
    if (!waits_ && !sounds_on_ && state.stage != Stage::waiting && state.stage != Stage::wrong_key)
        outcome.settled = state.stage == Stage::settled;
    if (!state.wrong_key && !(waits_ && figure && only_cools(*figure))) {
        if (state.counts) {
            const int touches = keeper_.sure_touches();
            auto kept = keeper_.hear(state.stage, figure);
            follow_hand(touches, state.stage == Stage::moving);
            sounds_on_ = sounds_on_ && !at_work();
            if (kept && !sounds_on_) note(std::move(*kept));
            if (!waits_ && !sounds_on_) follow_advice(state);
        }
        if (own && !state.wrong_pitch) {
            follower_.own(state.tone);
            own_ = {pipe().id, state.tone, state.pitch};
        }
    }
    if (outcome.settled && state.wrong_key) {
        const auto to = ahead();
        if (!to.empty() && pipes_[to.front()].key == *state.wrong_key) return next();
    }
    over_ = over_ && !at_work();
    if (ends_stop_in_silence(state)) return next();
    if (follow_key(state)) return true;
    const Cents told = std::exchange(warm_, warmth().by);
    return told != warm_;
}

// Nobody was at work meanwhile: what has cooled is taken up, the pipe in hand anew.
bool Run::end_wait() {
    if (at_work()) return false;
    if (!outcomes_[current_].again || !has_cooled(pipe().id)) return next();
    keeper_.turn_to(true);
    turn_to(current_);
    return true;
}

bool Run::follow(const tuning::PairedState& state) {
    hears_before_ = is_of_pipe_before(state.pipe);
    if (state.reference_deviation && !hears_before_ && !sounds_on_) {
        outcomes_[current_].reference = state.reference_deviation;
        // The bearings were tuned to the day's pitch: they can't tell it.
        if (options_.job != Job::bearings) learn_pitch(state);
    }
    auto figure = state.drawn() ? std::nullopt : figure_of(state.pipe);
    if (figure) {
        figure->reference = named_reference_of(pipe())->pipe.id;
        figure->reference_deviation = state.reference_deviation;
        figure->reference_uncertainty = state.reference_uncertainty;
        figure->beat = state.beat;
    }
    return follow(state.pipe, figure);
}

// Pipes are tuned to an A: from then on that is the day's, and the references that were put there
// tell only how it goes on.
void Run::hold_pitch() {
    if (options_.job != Job::from_reference || pitch_.is_given() || named_reference_of(pipe()))
        return;
    pitch_.hold(organ::pitch_of(instrument_, day_));
    day_.pitch = pitch_.a();
    if (!noted_pitch_) noted_pitch_ = day_.pitch;
}

void Run::learn_pitch(const tuning::PairedState& state) {
    const auto reference = reference_of(pipe());
    // A rank in octaves to itself is being tuned: it stands where it was put.
    if (!reference || reference->pipe.stop == pipe().stop) return;
    pitch_.heard(state.at, {reference->pipe, *state.reference, *state.reference_uncertainty}, day_);
    day_.pitch = pitch_.a();
    note_pitch();
}

}  // namespace rankwright::visit
