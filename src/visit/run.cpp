#include "visit/run.h"

#include "organ/air.h"

#include <algorithm>
#include <cassert>

namespace rankwright::visit {

Run::Run(const organ::Instrument& instrument, organ::StopRef stop, organ::Day day)
    : instrument_(instrument), stop_(stop), day_(day) {
    const organ::StandingOrder order =
        organ::standing_order(stop.stop->chest.value_or(stop.division->chest), stop.stop->first_key,
                              stop.stop->last_key, stop.division->lowest_midi);
    const std::vector<organ::Pipe> by_row = organ::pipes(stop);
    for (std::size_t i = 0; i < order.keys.size(); ++i) {
        if (order.other_side != 0 && i == order.other_side) other_side_ = pipes_.size();
        for (const organ::Pipe& pipe : by_row)
            if (pipe.key == order.keys[i]) pipes_.push_back(pipe);
    }
    assert(!pipes_.empty());
    outcomes_.resize(pipes_.size());
}

std::size_t Run::settled_count() const {
    return static_cast<std::size_t>(std::count_if(outcomes_.begin(), outcomes_.end(),
                                                  [](const PipeOutcome& o) { return o.settled; }));
}

bool Run::next() {
    if (current_ + 1 >= pipes_.size()) return false;
    ++current_;
    return true;
}

bool Run::back() {
    if (current_ == 0) return false;
    --current_;
    return true;
}

bool Run::go_to(int key) {
    const auto found = std::find_if(pipes_.begin(), pipes_.end(),
                                    [&](const organ::Pipe& pipe) { return pipe.key == key; });
    if (found == pipes_.end()) return false;
    current_ = static_cast<std::size_t>(found - pipes_.begin());
    return true;
}

void Run::set_temperature(Celsius air) { day_.temperature = air; }
void Run::set_pitch(std::optional<Hertz> a) { day_.pitch = a ? a : measured_; }

void Run::take_pitch_of_day(Cents deviation) {
    measured_ = transpose(organ::pitch_of(instrument_, day_), deviation);
    day_.pitch = measured_;
}

tuning::Expectation Run::expectation() const {
    tuning::Expectation expected;
    expected.pipe = pipe();
    expected.target = organ::target(instrument_, pipe(), day_);
    expected.tolerance = tuning::tolerance_at(expected.target);
    expected.speed_of_sound = organ::speed_of_sound(day_.temperature.value_or(instrument_.at));
    for (const organ::Pipe& other : pipes_)
        expected.others.push_back({other.key, organ::target(instrument_, other, day_)});
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

}  // namespace rankwright::visit
