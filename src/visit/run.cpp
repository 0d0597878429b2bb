#include "visit/run.h"

#include "organ/air.h"
#include "organ/tuning_order.h"
#include "organ/walking_order.h"

#include <algorithm>
#include <cassert>
#include <utility>

namespace rankwright::visit {

namespace {

StopId id_of(const organ::StopRef& ref) { return {ref.division->id, ref.stop->id}; }

}  // namespace

Run::Run(const organ::Instrument& instrument, organ::StopRef stop, organ::Day day,
         const RunOptions& options, Record record)
    : instrument_(instrument),
      stop_(stop),
      day_(std::move(day)),
      options_(options),
      pitch_(instrument, day_.pitch),
      record_(std::move(record)) {
    const auto& wanted = options_.stops;
    if (!wanted.empty())
        for (const organ::StopRef& ref : organ::tuning_order(instrument_))
            if (std::find(wanted.begin(), wanted.end(), id_of(ref)) != wanted.end())
                to_work_at_.push_back({ref, organ::pipes(ref)});
    // Gone on with at the stop where it was left.
    const bool surveys = options_.job == Job::survey;
    const auto left = surveys ? record_.latest_surveyed() : record_.latest();
    for (const auto& [ref, pipes] : to_work_at_)
        if (left && id_of(ref) == StopId{left->division, left->stop}) stop_ = ref;
    find_references();
    find_pipes();
    alone_ = job() == Job::mixture;
    keeper_.turn_to(record_.of(pipe().id).before.has_value());
    if (options_.only_listed) begin_at_list();
}

void Run::find_pipes() {
    pipes_.clear();
    if (options_.job == Job::bearings) {
        bearings_ = organ::bearings_plan(instrument_, day_);
        for (const organ::BearingStep& step : bearings_)
            pipes_.push_back(*organ::pipe_of(stop_, step.key));
    } else {
        pipes_ = organ::walking_order(instrument_, organ::pipes(stop_));
    }
    assert(!pipes_.empty());
    recall_outcomes();
    find_standing();
    const auto latest = record_.latest_of(id_of(stop_));
    const auto at = std::find_if(pipes_.begin(), pipes_.end(),
                                 [&](const auto& one) { return latest && one.id == *latest; });
    current_ = at == pipes_.end() ? 0 : static_cast<std::size_t>(at - pipes_.begin());
    was_done_ = settled_count() == pipes_.size();
    if (to_do(pipe(), outcomes_[current_])) return;
    if (const auto to = ahead(); !to.empty()) current_ = to.front();
}

void Run::recall_outcomes() {
    outcomes_.clear();
    for (const organ::Pipe& one : pipes_)
        outcomes_.push_back(recalled(one.id));
}

PipeOutcome Run::recalled(const PipeId& pipe) const {
    const PipeRecord& known = record_.of(pipe);
    PipeOutcome outcome;
    if (known.before) outcome.first = outcome.last = known.before->deviation;
    if (known.after) {
        outcome.last = known.after->deviation;
        outcome.reference = known.after->reference_deviation;
    }
    outcome.again = known.list == ListState::hear_again;
    outcome.open = known.list == ListState::open;
    // Cut off in the middle, it may have settled and not been left yet.
    const bool stood = known.after && known.after->settled && !outcome.open &&
                       known.after_serial > known.list_serial;
    outcome.settled = known.list == ListState::done || outcome.again || stood;
    return outcome;
}

Job Run::job() const {
    return options_.only_listed && stop_.stop->mixture() ? Job::mixture : options_.job;
}

void Run::take(organ::StopRef stop) {
    leave_pipe();
    const bool was_mixture = job() == Job::mixture;
    if (options_.job == Job::bearings) {
        options_.job = Job::from_reference;
        bearings_.clear();
        find_references();
    } else {
        left_[id_of(stop_)] = pipe().key;
    }
    stop_ = stop;
    stop_taken_ = now_.at;
    alone_ = job() == Job::mixture && (alone_ || !was_mixture);
    find_pipes();
    turn_to(current_);
    if (const auto before = left_.find(id_of(stop_)); before != left_.end()) go_to(before->second);
}

void Run::find_standing() {
    standing_.clear();
    other_side_ = 0;
    std::vector<std::pair<organ::Standing, std::size_t>> places;
    for (std::size_t i = 0; i < pipes_.size(); ++i)
        places.emplace_back(organ::standing_of(instrument_, pipes_[i].id), i);
    std::sort(places.begin(), places.end());
    for (const auto& [place, index] : places) {
        if (other_side_ == 0 && place.side != places.front().first.side)
            other_side_ = standing_.size();
        standing_.push_back(index);
    }
}

std::size_t Run::settled_count() const {
    return static_cast<std::size_t>(std::count_if(outcomes_.begin(), outcomes_.end(),
                                                  [](const PipeOutcome& o) { return o.settled; }));
}

std::size_t Run::open_count() const {
    return static_cast<std::size_t>(std::count_if(outcomes_.begin(), outcomes_.end(),
                                                  [](const PipeOutcome& o) { return o.open; }));
}

std::size_t Run::again_count() const {
    return static_cast<std::size_t>(std::count_if(outcomes_.begin(), outcomes_.end(),
                                                  [](const PipeOutcome& o) { return o.again; }));
}

// By the list the open ones come round: once more is worth it.
bool Run::is_given_up(const PipeId& pipe) const {
    const PipeRecord& known = record_.of(pipe);
    if (options_.only_listed && !was_tried_too_little(pipe)) return true;
    return given_up_.count(pipe) != 0 || (known.list == ListState::open && does_not_stay(known));
}

bool Run::to_do(const organ::Pipe& pipe, const PipeOutcome& outcome) const {
    if (record_.of(pipe.id).out_of_reach || is_given_up(pipe.id)) return false;
    const bool left = !outcome.settled || (outcome.again && has_cooled(pipe.id));
    return left && !waits_for_reference(pipe.id);
}

// On through the rank to what isn't done yet, then to what was warm when it was left, or waited for
// its reference. Where nothing of that is left, just on.
std::vector<std::size_t> Run::ahead() const {
    std::vector<std::size_t> wanted;
    if (options_.only_listed) {
        // As far as the stop in hand goes.
        for (const organ::Pipe& one : listed_ahead()) {
            const auto here = std::find_if(pipes_.begin(), pipes_.end(),
                                           [&](const auto& own) { return own.id == one.id; });
            if (here == pipes_.end()) break;
            wanted.push_back(static_cast<std::size_t>(here - pipes_.begin()));
        }
        return wanted;
    }
    std::vector<std::size_t> plainly;
    for (std::size_t i = current_ + 1; i < pipes_.size(); ++i) {
        if (!record_.of(pipes_[i].id).out_of_reach) plainly.push_back(i);
        if (to_do(pipes_[i], outcomes_[i])) wanted.push_back(i);
    }
    for (std::size_t i = 0; i < current_; ++i)
        if (comes_back_to(pipes_[i].id, outcomes_[i]) && to_do(pipes_[i], outcomes_[i]))
            wanted.push_back(i);
    // Where some must cool first, or other stops wait, there is nothing to do at this one; and what
    // has just been done isn't gone through again.
    const bool stay = was_done_ && again_count() == 0 && put_off().empty() && !next_stop();
    return wanted.empty() && stay ? plainly : wanted;
}

std::optional<organ::StopRef> Run::next_stop() const {
    if (const auto waited_for = stop_waited_for()) return waited_for;
    const StopId here = id_of(stop_);
    std::optional<organ::StopRef> earlier;
    bool beyond = false;
    for (const auto& [ref, pipes] : to_work_at_) {
        if (id_of(ref) == here) {
            beyond = true;
            continue;
        }
        for (const organ::Pipe& one : pipes) {
            const PipeOutcome outcome = recalled(one.id);
            if (!to_do(one, outcome)) continue;
            if (beyond) return ref;
            if (!earlier && comes_back_to(one.id, outcome)) earlier = ref;
        }
    }
    return earlier;
}

bool Run::next() {
    leave_pipe();
    const bool went = options_.only_listed ? next_listed() : next_of_stops();
    over_ = !went && !anything_cools();
    return went;
}

bool Run::next_of_stops() {
    const auto to = ahead();
    if (!to.empty()) {
        turn_to(to.front());
        return true;
    }
    const auto stop = next_stop();
    if (!stop) return false;
    take(*stop);
    if (to_do(pipe(), outcomes_[current_])) return true;
    for (std::size_t i = 0; i < pipes_.size(); ++i) {
        if (!to_do(pipes_[i], outcomes_[i])) continue;
        turn_to(i);
        break;
    }
    return true;
}

bool Run::back() {
    if (!trail_.empty()) {
        const PipeId from = trail_.back();
        trail_.pop_back();
        return go_to_any(from);
    }
    for (std::size_t i = current_; i-- > 0;) {
        if (record_.of(pipes_[i].id).out_of_reach) continue;
        turn_to(i);
        return true;
    }
    return false;
}

void Run::turn_to(std::size_t pipe) {
    leave_pipe();
    pitch_.left();
    day_.pitch = pitch_.a();
    current_ = pipe;
    sounds_on_ = over_ = hears_before_ = false;
    unheard_.begin();
    in_hand_since_ = now_.at;
    if (job() != Job::mixture) alone_ = was_left_alone();
    keeper_.turn_to(record_.of(pipes_[current_].id).before.has_value());
    follower_.turned();
    silent_since_.reset();
    waits_ = false;
    left_warm_.reset();
    if (outcomes_[current_].again && has_cooled(this->pipe().id))
        left_warm_ = record_.of(this->pipe().id).after;
    warm_ = warmth().by;
}

void Run::forget_hand() {
    told_since_.reset();
    was_told_ = false;
    unanswered_.forget();
    hand_ = Seconds{0.0};
    touched_last_.reset();
}

bool Run::go_to(int key) {
    const auto found = std::find_if(pipes_.begin(), pipes_.end(),
                                    [&](const organ::Pipe& pipe) { return pipe.key == key; });
    if (found == pipes_.end()) return false;
    turn_to(static_cast<std::size_t>(found - pipes_.begin()));
    return true;
}

bool Run::go_to(const PipeId& id) {
    const auto found = std::find_if(pipes_.begin(), pipes_.end(),
                                    [&](const organ::Pipe& pipe) { return pipe.id == id; });
    if (found == pipes_.end()) return false;
    turn_to(static_cast<std::size_t>(found - pipes_.begin()));
    return true;
}

void Run::hear_alone() {
    alone_ = !alone_ && reference_of(pipe()).has_value();
    unanswered_.forget();
    unheard_.begin();
}

void Run::set_temperature(Celsius air, std::optional<double> humidity) {
    day_.temperature = air;
    if (humidity) day_.humidity = humidity;
    note(AirReading{{}, air, humidity});
}

void Run::set_pitch(std::optional<Hertz> a) {
    pitch_.give(a);
    day_.pitch = pitch_.a();
    if (a) {
        note(PitchReading{*a, false});
        noted_pitch_ = a;
    }
}

void Run::take_measured_pitch(Hertz a) {
    pitch_.give(a);
    day_.pitch = pitch_.a();
    note_pitch();
}

void Run::take_pitch_of_day(Cents deviation) {
    set_pitch(transpose(organ::pitch_of(instrument_, day_), deviation));
}

std::optional<organ::Compensation> Run::compensation() const {
    if (!options_.compensate) return std::nullopt;
    return organ::compensation(instrument_, pipe(), day_);
}

Hertz Run::target_of(const organ::Pipe& pipe) const {
    const Hertz plain = organ::target(instrument_, pipe, day_);
    if (!options_.compensate) return plain;
    const auto compensated = organ::compensation(instrument_, pipe, day_);
    return compensated ? transpose(plain, compensated->offset) : plain;
}

Celsius Run::air_at_pipe() const {
    return organ::temperature_of(day_, pipe().id.division).value_or(instrument_.at);
}

Call Run::call() const { return call_for(pipe(), alone_ ? std::nullopt : reference_of(pipe())); }

// Nearer than that nobody can bring it now; it will be heard again.
Cents Run::doubt_while_warm() const { return is_warm() ? warmth().doubt : Cents{0.0}; }

tuning::Expectation Run::expectation() const {
    tuning::Expectation expected;
    expected.pipe = pipe();
    expected.target = transpose(target_of(pipe()), warmth().by);
    expected.tolerance = tuning::tolerance_at(expected.target) + doubt_while_warm();
    expected.speed_of_sound = organ::speed_of_sound(air_at_pipe());
    // A mixture's other pipes are told by what sounds of the whole key: tuning::MixtureKey.
    if (job() == Job::mixture) return expected;
    for (const organ::Pipe& other : pipes_)
        expected.others.push_back({other.key, target_of(other)});
    return expected;
}

std::optional<tuning::PairedExpectation> Run::paired_expectation() const {
    const auto reference = reference_of(pipe());
    if (!reference) return std::nullopt;
    tuning::PairedExpectation expected;
    expected.pipe = pipe();
    expected.reference = *reference;
    const Hertz cool = target_of(pipe());
    expected.reference.beat += (transpose(cool, warmth().by) - cool) * reference->pipe_partial;
    expected.reference_target = organ::target(instrument_, reference->pipe, day_);
    expected.day_known = day_.pitch.has_value();
    expected.reference_before = heard_before(reference->pipe);
    expected.reference_seen = seen_before(reference->pipe.id);
    // By what is heard: at the partials that meet, half a cent is so many more beats.
    const Hertz pitch = target_of(pipe());
    expected.tolerance = tuning::tolerance_at(pitch * reference->pipe_partial) + doubt_while_warm();
    expected.speed_of_sound = organ::speed_of_sound(air_at_pipe());
    if (job() == Job::mixture) return expected;
    for (const organ::Pipe& other : pipes_) {
        expected.others.push_back({other.key, target_of(other)});
        if (const auto from = reference_of(other)) {
            const Hertz heard = organ::target(instrument_, from->pipe, day_);
            expected.others.push_back({other.key, heard});
            expected.others.push_back({other.key, heard / from->pipe_partial});
        }
    }
    return expected;
}

}  // namespace rankwright::visit
