// References come before what is tuned from them: a pipe waits until its own stands for good, or
// has been tried twice, and is heard again when that is moved afterwards.
#include "visit/faults.h"
#include "visit/run.h"

#include <algorithm>
#include <chrono>
#include <cmath>

namespace rankwright::visit {

namespace {

bool has(const std::vector<organ::Pipe>& pipes, const PipeId& id) {
    return std::any_of(pipes.begin(), pipes.end(),
                       [&](const organ::Pipe& one) { return one.id == id; });
}

}  // namespace

std::optional<organ::Reference> Run::named_reference_of(const organ::Pipe& pipe) const {
    if (options_.job == Job::to_target || options_.job == Job::survey) return std::nullopt;
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

// Noted as such, and not tuned since; what was found of it before may have been its wind.
bool Run::is_dead(const PipeId& pipe) const {
    const PipeRecord& known = record_.of(pipe);
    return !known.after &&
           std::any_of(known.faults.begin(), known.faults.end(),
                       [](const Fault& one) { return one.fault == kFaults.front(); });
}

// Where one of the two is silent, what sounds would be taken for both.
std::optional<organ::Reference> Run::reference_of(const organ::Pipe& pipe) const {
    auto named = named_reference_of(pipe);
    if (named && (is_dead(pipe.id) || is_dead(named->pipe.id))) named.reset();
    return named;
}

std::optional<organ::Pipe> Run::dead_reference() const {
    const auto named = named_reference_of(pipe());
    if (!named || !is_dead(named->pipe.id)) return std::nullopt;
    return named->pipe;
}

void Run::find_references() {
    tuned_from_.clear();
    if (options_.job != Job::from_reference) return;
    for (const organ::Pipe& one : organ::pipes(instrument_))
        if (const auto reference = organ::reference_of(instrument_, one, day_))
            tuned_from_[one.id] = reference->pipe.id;
}

// By itself, sooner or later.
bool Run::goes_to(const PipeId& pipe) const {
    return options_.only_listed || has(pipes_, pipe) ||
           std::any_of(to_work_at_.begin(), to_work_at_.end(),
                       [&](const StopToWorkAt& one) { return has(one.pipes, pipe); });
}

// Made anew when an entry was added or another stop is in hand.
const std::map<PipeId, PipeId>& Run::put_off() const {
    const StopId here{stop_.division->id, stop_.stop->id};
    if (put_off_.at == here && put_off_.entries == record_.entries().size()) return put_off_.pipes;
    put_off_.at = here;
    put_off_.entries = record_.entries().size();
    put_off_.pipes.clear();
    for (const auto& [pipe, from] : tuned_from_) {
        const PipeRecord& reference = record_.of(from);
        const bool awaited =
            reference.list == ListState::hear_again ||
            (reference.list == ListState::open && was_tried_too_little(from) && !is_given_up(from));
        if (!awaited || reference.out_of_reach || !reference.faults.empty() ||
            record_.of(pipe).list == ListState::done || !goes_to(from))
            continue;
        put_off_.pipes.emplace(pipe, from);
    }
    return put_off_.pipes;
}

// A pipe that was left open is worth being come back to once.
bool Run::was_tried_too_little(const PipeId& pipe) const {
    constexpr int kMostTries = 2;
    const auto tries = tries_.find(pipe);
    return tries == tries_.end() || tries->second < kMostTries;
}

bool Run::is_waited_for(const PipeId& pipe) const {
    const auto& waiting = put_off();
    return std::any_of(waiting.begin(), waiting.end(),
                       [&](const auto& one) { return one.second == pipe; });
}

// Pipes that were gone past for a reason, not by choice: also before the program was started again.
bool Run::comes_back_to(const PipeId& pipe, const PipeOutcome& outcome) const {
    if (outcome.again || outcome.open) return outcome.again || is_waited_for(pipe);
    const auto from = tuned_from_.find(pipe);
    if (from == tuned_from_.end() || !goes_to(from->second)) return false;
    const PipeRecord& reference = record_.of(from->second);
    return reference.left_to_be_heard_again + reference.left_open > 0;
}

// What has cooled, and others wait for, comes before the next stop.
std::optional<organ::StopRef> Run::stop_waited_for() const {
    for (const auto& [pipe, from] : put_off()) {
        if (!has_cooled(from) || waits_for_reference(from) || has(pipes_, from)) continue;
        for (const auto& [ref, pipes] : to_work_at_)
            if (has(pipes, from)) return ref;
    }
    return std::nullopt;
}

// Tuned from another, it stands where that has it: as that was heard then, or else as it was known.
Run::Copied Run::copied_by(const organ::Pipe& pipe) const {
    const auto from = named_reference_of(pipe);
    const auto& left = record_.of(pipe.id).after;
    if (!from || !left) return {};
    if (left->reference_deviation)
        return {*left->reference_deviation, left->reference_uncertainty.value_or(Cents{0.0})};
    const tuning::ReferencePitch known = heard_before(from->pipe);
    if (!known.pitch()) return {};
    return {interval(organ::target(instrument_, from->pipe, day_), *known.pitch()),
            *known.uncertainty()};
}

// As it was left, and as it was heard from then on beside what was tuned from it.
tuning::ReferencePitch Run::heard_before(const organ::Pipe& reference) const {
    constexpr Cents kSure{1.0};
    tuning::ReferencePitch heard;
    const Hertz target = organ::target(instrument_, reference, day_);
    const PipeRecord& own = record_.of(reference.id);
    if (own.list == ListState::hear_again) return heard;  // it still cools
    const auto number = [](std::uint64_t serial) { return -1 - static_cast<int>(serial); };
    if (own.after && own.after->settled) {
        const Copied copied = copied_by(reference);
        heard.hear(number(own.after_serial), transpose(target, own.after->deviation + copied.by),
                   Cents{std::hypot(own.after->uncertainty.value(), copied.doubt.value())});
    }
    for (const auto& [one, from] : tuned_from_) {
        const PipeRecord& known = record_.of(one);
        if (from != reference.id || one == pipe().id || !known.after ||
            known.after_serial < own.after_serial || !known.after->reference_deviation ||
            known.after->reference_uncertainty.value_or(kSure) >= kSure)
            continue;
        heard.hear(number(known.after_serial), transpose(target, *known.after->reference_deviation),
                   *known.after->reference_uncertainty);
    }
    return heard;
}

// One that nobody has tuned, out of reach perhaps, may be further off its target than anybody would
// look for it. The pitch and not the deviation: A may have been told anew since.
std::optional<Hertz> Run::seen_before(const PipeId& reference) const {
    constexpr std::chrono::hours kHolds{2};  // the air changes it by a few cents (from memory)
    const PipeRecord& known = record_.of(reference);
    const auto& seen = known.after ? known.after : known.survey;
    if (!seen) return std::nullopt;
    const std::uint64_t serial = known.after ? known.after_serial : known.survey_serial;
    if (now_.wall - record_.entries()[serial - 1].at > kHolds) return std::nullopt;
    return seen->pitch;
}

// As the pipe in hand stood when the other was kept: as it had been left by then, or else as found.
std::optional<Hertz> Run::stood_when(std::uint64_t other_kept) const {
    std::optional<Hertz> stood;
    for (const BookEntry& entry : counted(record_.entries())) {
        const auto* kept = std::get_if<KeptReading>(&entry.matter);
        if (kept == nullptr || kept->pipe != pipe().id || kept->moment == Moment::survey) continue;
        if (!stood || entry.serial < other_kept) stood = kept->pitch;
        if (entry.serial > other_kept) break;
    }
    return stood;
}

// The pipe in hand was moved: what was tuned from it doesn't stand any more, and what was tuned
// alone, to where it stood or unheard, may not beat as it should.
void Run::hear_dependents_again() {
    const auto& now = record_.of(pipe().id).after;
    if (!now) return;
    for (const auto& [one, from] : tuned_from_) {
        const PipeRecord& known = record_.of(one);
        if (from != pipe().id || known.list != ListState::done) continue;
        // One that settled and was left at once may have been kept as it was found only.
        if (known.after) {
            std::optional<Cents> moved;
            if (known.after->reference == from && known.after->reference_deviation)
                moved = now->deviation - *known.after->reference_deviation;
            else if (const auto stood = stood_when(known.after_serial))
                moved = interval(*stood, now->pitch);
            const Cents tolerance = tuning::tolerance_at(known.after->target);
            if (moved && std::abs(moved->value()) <= tolerance.value()) continue;
        }
        note(ListChange{one, ListState::hear_again});
        for (std::size_t i = 0; i < pipes_.size(); ++i)
            if (pipes_[i].id == one) outcomes_[i] = recalled(one);
    }
}

}  // namespace rankwright::visit
