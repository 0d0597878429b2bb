#include "visit/run.h"

#include "organ/air.h"
#include "organ/tuning_order.h"
#include "organ/walking_order.h"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <utility>

namespace rankwright::visit {

namespace {

constexpr Cents kMostWarmth{8.0};  // what falls by more than that did not only cool

StopId id_of(const organ::StopRef& ref) { return {ref.division->id, ref.stop->id}; }

std::string division_and(const std::string& stop, const std::string& division) {
    return division + " · " + stop;
}

}  // namespace

Run::Run(const organ::Instrument& instrument, organ::StopRef stop, organ::Day day,
         RunOptions options, Record record)
    : instrument_(instrument),
      stop_(stop),
      day_(std::move(day)),
      options_(options),
      pitch_(instrument, day_.pitch),
      alone_(options.job == Job::mixture),
      record_(std::move(record)) {
    const auto& wanted = options_.stops;
    if (!wanted.empty())
        for (const organ::StopRef& ref : organ::tuning_order(instrument_))
            if (std::find(wanted.begin(), wanted.end(), id_of(ref)) != wanted.end())
                to_work_at_.push_back({ref, organ::pipes(ref)});
    // Gone on with at the stop where it was left.
    for (const auto& [ref, pipes] : to_work_at_)
        if (record_.latest() &&
            id_of(ref) == StopId{record_.latest()->division, record_.latest()->stop})
            stop_ = ref;
    find_pipes();
    keeper_.turn_to(record_.of(pipe().id).before.has_value());
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
    const bool stood = known.after && known.after->settled && !outcome.open;
    outcome.settled = known.list == ListState::done || outcome.again || stood;
    return outcome;
}

void Run::take(organ::StopRef stop) {
    leave_pipe();
    if (options_.job == Job::bearings) {
        options_.job = Job::from_reference;
        bearings_.clear();
    } else {
        left_[id_of(stop_)] = pipe().key;
    }
    stop_ = stop;
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

// Five minutes: from memory, and from the bass, which cools slowest.
Seconds Run::cools_for(const PipeId& pipe) const {
    constexpr Seconds kCools{300.0};
    const auto handled = handled_.find(pipe);
    if (handled == handled_.end()) return Seconds{0.0};
    return std::max(Seconds{0.0}, handled->second.touched + kCools - now_.at);
}

std::optional<Seconds> Run::wait() const {
    if (keeper_.touched() || !outcomes_[current_].again || !ahead().empty()) return std::nullopt;
    std::optional<Seconds> soonest;
    for (std::size_t i = 0; i < pipes_.size(); ++i) {
        if (!outcomes_[i].again) continue;
        const Seconds left = cools_for(pipes_[i].id);
        if (!soonest || left < *soonest) soonest = left;
    }
    return soonest;
}

bool Run::has_cooled(const PipeId& pipe) const { return cools_for(pipe) <= Seconds{0.0}; }

// A hand's touch warms a small flue pipe by some tenths of a cent, and it takes minutes to cool
// (from memory); a reed's tongue hears little of it.
bool Run::is_warm() const {
    constexpr Cents kWarmsBy{0.3};
    if (pipe().make.reed()) return false;
    if (keeper_.touched())
        return kWarmsBy * keeper_.touches() > tuning::tolerance_at(target_of(pipe())) * 0.5;
    return outcomes_[current_].again && !has_cooled(pipe().id);
}

ListState Run::state_on_leaving() const {
    // Held while it cools, it goes flat: that says nothing.
    const bool cools = outcomes_[current_].again && !has_cooled(pipe().id);
    if (cools && !keeper_.touched()) return ListState::hear_again;
    if (!outcomes_[current_].settled) return ListState::open;
    return is_warm() ? ListState::hear_again : ListState::done;
}

std::string Run::left_open() const {
    constexpr Seconds kSaidFor{10.0};
    return left_open_ && now_.at - left_open_->at < kSaidFor ? left_open_->note : std::string();
}

bool Run::to_do(const organ::Pipe& pipe, const PipeOutcome& outcome) const {
    if (record_.of(pipe.id).out_of_reach) return false;
    return !outcome.settled || (outcome.again && has_cooled(pipe.id));
}

// On through the rank to what isn't done yet, then to what was warm when it was left. Where nothing
// of that is left, just on.
std::vector<std::size_t> Run::ahead() const {
    std::vector<std::size_t> wanted;
    std::vector<std::size_t> plainly;
    for (std::size_t i = current_ + 1; i < pipes_.size(); ++i) {
        if (!record_.of(pipes_[i].id).out_of_reach) plainly.push_back(i);
        if (to_do(pipes_[i], outcomes_[i])) wanted.push_back(i);
    }
    for (std::size_t i = 0; i < current_; ++i)
        if (outcomes_[i].again && to_do(pipes_[i], outcomes_[i])) wanted.push_back(i);
    // Where some must cool first, or other stops wait, there is nothing to do at this one.
    const bool stay = again_count() == 0 && !next_stop();
    return wanted.empty() && stay ? plainly : wanted;
}

std::optional<organ::StopRef> Run::next_stop() const {
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
            // Of those passed already, only what was to be heard again.
            if (outcome.again && !earlier) earlier = ref;
        }
    }
    return earlier;
}

bool Run::next() {
    leave_pipe();
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
    if (options_.job != Job::mixture) alone_ = false;
    keeper_.turn_to(record_.of(pipes_[current_].id).before.has_value());
    follower_.turned();
}

void Run::leave_pipe() {
    const bool worked_at = keeper_.heard();
    const int touches = keeper_.touches();
    const ListState state = state_on_leaving();
    for (KeptReading& reading : keeper_.leave())
        note(std::move(reading));
    PipeOutcome& outcome = outcomes_[current_];
    if (!worked_at) return;
    if (touches > 0) handled_[pipe().id].touches = touches;
    outcome.open = state == ListState::open;
    outcome.again = state == ListState::hear_again;
    if (record_.of(pipe().id).list != state) note(ListChange{pipe().id, state});
    if (outcome.open) left_open_ = {pipe().note, now_.at};
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

void Run::hear_alone() { alone_ = !alone_ && reference_of(pipe()).has_value(); }

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

void Run::note_day() {
    if (day_.temperature) note(AirReading{{}, *day_.temperature, day_.humidity});
    for (const auto& [place, air] : day_.places)
        note(AirReading{place, air, std::nullopt});
    if (!day_.pitch) return;
    noted_pitch_ = day_.pitch;
    note(PitchReading{*day_.pitch, false});
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

void Run::take_pitch_of_day(Cents deviation) {
    set_pitch(transpose(organ::pitch_of(instrument_, day_), deviation));
}

std::optional<organ::Reference> Run::reference_of(const organ::Pipe& pipe) const {
    if (options_.job == Job::to_target) return std::nullopt;
    if (options_.job == Job::bearings) {
        const auto step = std::find_if(bearings_.begin(), bearings_.end(),
                                       [&](const auto& one) { return one.key == pipe.key; });
        return organ::reference_of(instrument_, *step, day_);
    }
    auto reference = organ::reference_of(instrument_, pipe, day_);
    if (!reference) return std::nullopt;
    const Hertz plain = organ::target(instrument_, pipe, day_);
    reference->beat += (target_of(pipe) - plain) * reference->pipe_partial;
    return reference;
}

std::optional<organ::Compensation> Run::compensation() const {
    if (!options_.compensate) return std::nullopt;
    return organ::compensation(instrument_, pipe(), day_);
}

Cents Run::warmth() const {
    const auto handled = handled_.find(pipe().id);
    if (handled == handled_.end()) return Cents{0.0};
    const bool still_warm = outcomes_[current_].again && !has_cooled(pipe().id);
    if (!keeper_.touched() && !still_warm) return Cents{0.0};
    const int touches = keeper_.touched() ? keeper_.touches() : handled->second.touches;
    return std::min(kMostWarmth, handled->second.cooled_by.value_or(Cents{0.0}) * touches);
}

// As it was left against as it is found again, nobody having touched it.
void Run::learn_cooling(const KeptReading& figure) {
    constexpr Cents kKnownTo{0.3};
    constexpr Cents kLeast{0.2};
    const auto& left = record_.of(pipe().id).after;
    if (!outcomes_[current_].again || !has_cooled(pipe().id) || keeper_.touched() || !left ||
        figure.uncertainty > kKnownTo)
        return;
    const Cents fell = interval(figure.pitch, left->pitch);
    Handling& hand = handled_[pipe().id];
    hand.cooled_by.reset();
    if (fell > kLeast && fell < kMostWarmth && hand.touches > 0)
        hand.cooled_by = fell * (1.0 / hand.touches);
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

Call Run::call() const {
    const auto key_of = [](const organ::Pipe& p) { return Call::Key{p.division, p.note, p.key}; };
    Call out;
    out.key = key_of(pipe());
    out.stops = {pipe().stop};
    const auto reference = reference_of(pipe());
    if (!reference || alone_) return out;
    const organ::Pipe& from = reference->pipe;
    const bool elsewhere = from.division != pipe().division;
    if (elsewhere)
        out.stops.insert(out.stops.begin(), division_and(from.stop, from.division));
    else if (from.stop != pipe().stop)
        out.stops.insert(out.stops.begin(), from.stop);
    if (elsewhere || from.key != pipe().key) out.also = key_of(from);
    return out;
}

tuning::Expectation Run::expectation() const {
    tuning::Expectation expected;
    expected.pipe = pipe();
    expected.target = transpose(target_of(pipe()), warmth());
    expected.tolerance = tuning::tolerance_at(expected.target);
    expected.speed_of_sound = organ::speed_of_sound(air_at_pipe());
    // A mixture's other pipes are told by what sounds of the whole key: tuning::MixtureKey.
    if (options_.job == Job::mixture) return expected;
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
    expected.reference.beat += (transpose(cool, warmth()) - cool) * reference->pipe_partial;
    expected.reference_target = organ::target(instrument_, reference->pipe, day_);
    expected.day_known = day_.pitch.has_value();
    // By what is heard: at the partials that meet, half a cent is so many more beats.
    const Hertz pitch = target_of(pipe());
    expected.tolerance = tuning::tolerance_at(pitch * reference->pipe_partial);
    expected.speed_of_sound = organ::speed_of_sound(air_at_pipe());
    if (options_.job == Job::mixture) return expected;
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

std::optional<KeptReading> Run::figure_of(const tuning::PipeState& state) const {
    if (!state.pitch || !state.deviation || !state.uncertainty) return std::nullopt;
    KeptReading figure;
    figure.pipe = pipe().id;
    figure.pitch = *state.pitch;
    figure.deviation = *state.deviation + warmth();
    figure.target = transpose(*state.pitch, -figure.deviation);
    figure.uncertainty = *state.uncertainty;
    figure.heard = state.heard;
    figure.settled = state.stage == tuning::Stage::settled;
    figure.air = organ::temperature_of(day_, pipe().id.division);
    return figure;
}

bool Run::follow(const tuning::PipeState& state) { return follow(state, figure_of(state)); }

bool Run::follow(const tuning::PipeState& state, const std::optional<KeptReading>& figure) {
    using tuning::Stage;
    const Cents warm = warmth();
    PipeOutcome& outcome = outcomes_[current_];
    if (state.deviation && (state.stage == Stage::reading || state.stage == Stage::settled)) {
        if (!outcome.first) outcome.first = state.deviation;
        outcome.last = state.deviation;
    }
    if (state.stage != Stage::waiting && state.stage != Stage::wrong_key)
        outcome.settled = state.stage == Stage::settled;
    if (!state.wrong_key) {
        if (auto kept = keeper_.hear(state.stage, figure)) note(std::move(*kept));
        if (figure) learn_cooling(*figure);
        if (keeper_.moving()) handled_[pipe().id].touched = now_.at;
        const bool own = state.stage == Stage::reading || state.stage == Stage::moving ||
                         (state.stage == Stage::settled && state.deviation);
        if (own && !state.wrong_pitch) follower_.own(state.tone);
    }
    if (outcome.settled && state.wrong_key) {
        const auto to = ahead();
        if (!to.empty() && pipes_[to.front()].key == *state.wrong_key) return next();
    }
    return follow_key(state) || warmth() != warm;
}

// The helper may have misheard, or the technician has gone elsewhere: a key that goes on sounding
// is meant.
bool Run::follow_key(const tuning::PipeState& state) {
    constexpr Seconds kFromADonePipe{0.7};
    constexpr Seconds kFromAnOpenPipe{1.5};
    if (options_.job == Job::bearings) return false;
    const bool free = outcomes_[current_].settled || !keeper_.heard();
    const auto key = follower_.hear(now_.at, state.tone, state.wrong_key,
                                    free ? kFromADonePipe : kFromAnOpenPipe);
    if (!key) return false;
    const auto meant = std::find_if(pipes_.begin(), pipes_.end(),
                                    [&](const organ::Pipe& one) { return one.key == *key; });
    if (meant == pipes_.end() || record_.of(meant->id).out_of_reach) return false;
    return go_to(*key);
}

bool Run::follow(const tuning::PairedState& state) {
    if (state.reference_deviation) {
        outcomes_[current_].reference = state.reference_deviation;
        // The bearings were tuned to the day's pitch: they can't tell it.
        if (options_.job != Job::bearings) learn_pitch(state);
    }
    auto figure = state.drawn() ? std::nullopt : figure_of(state.pipe);
    if (figure) {
        figure->reference = reference_of(pipe())->pipe.id;
        figure->reference_deviation = state.reference_deviation;
        figure->reference_uncertainty = state.reference_uncertainty;
        figure->beat = state.beat;
    }
    return follow(state.pipe, figure);
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
