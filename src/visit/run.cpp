#include "visit/run.h"

#include "organ/air.h"
#include "organ/walking_order.h"

#include <algorithm>
#include <cassert>
#include <utility>

namespace rankwright::visit {

namespace {

std::string division_and(const std::string& stop, const std::string& division) {
    return division + " · " + stop;
}

}  // namespace

Run::Run(const organ::Instrument& instrument, organ::StopRef stop, organ::Day day,
         RunOptions options)
    : instrument_(instrument),
      stop_(stop),
      day_(std::move(day)),
      options_(options),
      pitch_(instrument, day_.pitch) {
    find_pipes();
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
    outcomes_.assign(pipes_.size(), {});
    find_standing();
}

void Run::take(organ::StopRef stop) {
    const auto id = [&] { return StopId{stop_.division->id, stop_.stop->id}; };
    if (options_.job == Job::bearings) {
        options_.job = Job::from_reference;
        bearings_.clear();
    } else {
        left_[id()] = {outcomes_, current_};
    }
    stop_ = stop;
    find_pipes();
    std::size_t stands_at = 0;
    if (const auto before = left_.find(id()); before != left_.end()) {
        outcomes_ = before->second.outcomes;
        stands_at = before->second.current;
    }
    turn_to(stands_at);
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

bool Run::next() {
    if (current_ + 1 >= pipes_.size()) return false;
    turn_to(current_ + 1);
    return true;
}

bool Run::back() {
    if (current_ == 0) return false;
    turn_to(current_ - 1);
    return true;
}

void Run::turn_to(std::size_t pipe) {
    pitch_.left();
    day_.pitch = pitch_.a();
    current_ = pipe;
    alone_ = false;
}

bool Run::go_to(int key) {
    const auto found = std::find_if(pipes_.begin(), pipes_.end(),
                                    [&](const organ::Pipe& pipe) { return pipe.key == key; });
    if (found == pipes_.end()) return false;
    turn_to(static_cast<std::size_t>(found - pipes_.begin()));
    return true;
}

void Run::hear_alone() { alone_ = !alone_ && reference_of(pipe()).has_value(); }

void Run::set_temperature(Celsius air, std::optional<double> humidity) {
    day_.temperature = air;
    if (humidity) day_.humidity = humidity;
}

void Run::set_pitch(std::optional<Hertz> a) {
    pitch_.give(a);
    day_.pitch = pitch_.a();
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
    expected.target = target_of(pipe());
    expected.tolerance = tuning::tolerance_at(expected.target);
    expected.speed_of_sound = organ::speed_of_sound(air_at_pipe());
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
    expected.reference_target = organ::target(instrument_, reference->pipe, day_);
    expected.day_known = day_.pitch.has_value();
    // By what is heard: at the partials that meet, half a cent is so many more beats.
    const Hertz pitch = target_of(pipe());
    expected.tolerance = tuning::tolerance_at(pitch * reference->pipe_partial);
    expected.speed_of_sound = organ::speed_of_sound(air_at_pipe());
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

bool Run::follow(const tuning::PipeState& state) {
    using tuning::Stage;
    PipeOutcome& outcome = outcomes_[current_];
    if (state.deviation && (state.stage == Stage::reading || state.stage == Stage::settled)) {
        if (!outcome.first) outcome.first = state.deviation;
        outcome.last = state.deviation;
    }
    if (state.stage != Stage::waiting && state.stage != Stage::wrong_key)
        outcome.settled = state.stage == Stage::settled;
    const bool next_sounds = state.wrong_key && current_ + 1 < pipes_.size() &&
                             pipes_[current_ + 1].key == *state.wrong_key;
    return outcome.settled && next_sounds && next();
}

bool Run::follow(const tuning::PairedState& state) {
    if (state.reference_deviation) {
        outcomes_[current_].reference = state.reference_deviation;
        // The bearings were tuned to the day's pitch: they can't tell it.
        if (options_.job != Job::bearings) learn_pitch(state);
    }
    return follow(state.pipe);
}

void Run::learn_pitch(const tuning::PairedState& state) {
    const auto reference = reference_of(pipe());
    // A rank in octaves to itself is being tuned: it stands where it was put.
    if (!reference || reference->pipe.stop == pipe().stop) return;
    pitch_.heard(state.at, {reference->pipe, *state.reference, *state.reference_uncertainty}, day_);
    day_.pitch = pitch_.a();
}

}  // namespace rankwright::visit
