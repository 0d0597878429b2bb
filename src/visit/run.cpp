#include "visit/run.h"

#include "organ/air.h"

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
      pitch_given_(day_.pitch.has_value()) {
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
    alone_ = false;
    return true;
}

bool Run::back() {
    if (current_ == 0) return false;
    --current_;
    alone_ = false;
    return true;
}

bool Run::go_to(int key) {
    const auto found = std::find_if(pipes_.begin(), pipes_.end(),
                                    [&](const organ::Pipe& pipe) { return pipe.key == key; });
    if (found == pipes_.end()) return false;
    current_ = static_cast<std::size_t>(found - pipes_.begin());
    alone_ = false;
    return true;
}

void Run::hear_alone() { alone_ = !alone_ && reference_of(pipe()).has_value(); }

void Run::set_temperature(Celsius air) { day_.temperature = air; }
void Run::set_pitch(std::optional<Hertz> a) {
    day_.pitch = a ? a : measured_;
    pitch_given_ = a.has_value();
}

void Run::take_pitch_of_day(Cents deviation) {
    measured_ = transpose(organ::pitch_of(instrument_, day_), deviation);
    day_.pitch = measured_;
    pitch_given_ = true;
}

std::optional<organ::Reference> Run::reference_of(const organ::Pipe& pipe) const {
    if (options_.job == Job::to_target) return std::nullopt;
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
    expected.speed_of_sound = organ::speed_of_sound(day_.temperature.value_or(instrument_.at));
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
    expected.speed_of_sound = organ::speed_of_sound(day_.temperature.value_or(instrument_.at));
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
        learn_pitch(state);
    }
    return follow(state.pipe);
}

void Run::learn_pitch(const tuning::PairedState& state) {
    constexpr Cents kSure{1.0};
    constexpr std::size_t kEnough = 3;
    if (pitch_given_ || *state.reference_uncertainty > kSure) return;
    const auto reference = reference_of(pipe());
    if (!reference) return;
    const organ::ReferenceReading heard{reference->pipe, *state.reference,
                                        *state.reference_uncertainty};
    const auto known =
        std::find_if(references_.begin(), references_.end(),
                     [&](const auto& reading) { return reading.pipe.id == reference->pipe.id; });
    if (known == references_.end())
        references_.push_back(heard);
    else
        *known = heard;
    if (references_.size() < kEnough) return;
    const auto today = organ::pitch_of_day(instrument_, references_, day_.temperature);
    if (today && today->uncertainty <= kSure) day_.pitch = measured_ = today->a;
}

}  // namespace rankwright::visit
