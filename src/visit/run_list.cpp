// The run over the work list.
#include "organ/tuning_order.h"
#include "visit/run.h"

#include <algorithm>
#include <utility>

namespace rankwright::visit {

namespace {

/// The stop on which a pipe's own key plays it.
organ::StopRef stop_playing(const organ::Instrument& instrument, const organ::Pipe& pipe) {
    for (const organ::Division& division : instrument.divisions) {
        if (division.name != pipe.division) continue;
        for (const organ::Stop& stop : division.stops)
            if (stop.name == pipe.stop) return {&division, &stop, &instrument};
    }
    return organ::stop_by_id(instrument, pipe.id.division, pipe.id.stop);
}

auto position(const std::vector<organ::Pipe>& pipes, const PipeId& id) {
    return std::find_if(pipes.begin(), pipes.end(),
                        [&](const organ::Pipe& one) { return one.id == id; });
}

}  // namespace

bool Run::is_of_mixture(const PipeId& pipe) const {
    return organ::is_of_mixture(instrument_, pipe);
}

bool Run::is_of_this_job(const PipeId& pipe) const {
    if (options_.only_listed && !only_mixtures()) return true;
    return is_of_mixture(pipe) == only_mixtures();
}

// Made anew when an entry was added or the run has moved.
const Run::Listed& Run::listed() const {
    const PipeId& here = pipe().id;
    if (listed_.at == here && listed_.entries == record_.entries().size()) return listed_;
    if (!listed_.at || listed_.entries != record_.entries().size())
        listed_.list = work_list(instrument_, record_.entries(), options_.history);
    listed_.entries = record_.entries().size();
    listed_.at = here;
    listed_.feet.clear();
    std::vector<organ::Pipe> wanted;
    for (const ListedPipe& one : listed_.list.pipes)
        if (one.to_do() && is_of_this_job(one.pipe.id)) wanted.push_back(one.pipe);
    if (position(wanted, here) == wanted.end()) wanted.push_back(pipe());
    listed_.feet = organ::order_of_work(instrument_, std::move(wanted));
    return listed_;
}

bool Run::wants(const PipeId& pipe) const {
    if (!options_.only_listed) return true;
    const auto& pipes = list().pipes;
    return std::any_of(pipes.begin(), pipes.end(),
                       [&](const ListedPipe& one) { return one.pipe.id == pipe && one.to_do(); });
}

// From the pipe in hand on, and round again.
std::vector<organ::Pipe> Run::listed_ahead() const {
    std::vector<organ::Pipe> feet = listed().feet;
    const auto here = position(feet, pipe().id) - feet.begin();
    std::rotate(feet.begin(), feet.begin() + here + 1, feet.end());
    feet.pop_back();  // the one in hand
    std::erase_if(feet, [&](const organ::Pipe& one) {
        const PipeRecord& known = record_.of(one.id);
        return waits_for_reference(one.id) || is_given_up(one.id) ||
               (known.list == ListState::hear_again && !has_cooled(one.id));
    });
    return feet;
}

bool Run::anything_ahead() const {
    return options_.only_listed ? !listed_ahead().empty() : !ahead().empty();
}

// As soon as they have, there is work again.
bool Run::anything_cools() const {
    const auto cools = [&](const organ::Pipe& one) {
        const PipeRecord& known = record_.of(one.id);
        return known.list == ListState::hear_again && !known.out_of_reach && goes_to(one.id);
    };
    if (options_.only_listed) return std::any_of(listed().feet.begin(), listed().feet.end(), cools);
    return std::any_of(pipes_.begin(), pipes_.end(), cools) ||
           std::any_of(to_work_at_.begin(), to_work_at_.end(), [&](const StopToWorkAt& one) {
               return std::any_of(one.pipes.begin(), one.pipes.end(), cools);
           });
}

bool Run::is_over() const { return over_ && !(options_.only_listed && anything_ahead()); }

std::vector<ListedPipe> Run::left_over() const {
    std::vector<ListedPipe> left;
    for (const ListedPipe& one : list().pipes)
        if (one.state != ListState::dropped && is_of_this_job(one.pipe.id) && goes_to(one.pipe.id))
            left.push_back(one);
    return left;
}

bool Run::next_listed() {
    const auto to = listed_ahead();
    if (to.empty()) return false;
    trail_.push_back(pipe().id);
    return go_to_any(to.front().id);
}

void Run::begin_at_list() {
    const auto feet = listed().feet;
    std::optional<PipeId> first;
    for (const organ::Pipe& one : feet)
        if (wants(one.id) && (!first || one.id == record_.latest())) first = one.id;
    if (first) go_to_any(*first);
}

bool Run::go_to_any(const PipeId& id) {
    if (go_to(id)) return true;
    const auto all = organ::pipes(instrument_);
    const auto found = position(all, id);
    if (found == all.end()) return false;
    const organ::StopRef stop = stop_playing(instrument_, *found);
    if (stop.stop == nullptr || organ::pipes(stop).empty()) return false;
    take(stop);
    return go_to(id);
}

std::vector<Call> Run::calls_ahead(std::size_t most) const {
    std::vector<organ::Pipe> to;
    if (options_.only_listed)
        to = listed_ahead();
    else
        for (const std::size_t i : ahead())
            to.push_back(pipes_[i]);
    std::vector<Call> calls;
    // Several rows of a mixture's key are one call.
    const auto same = [](const organ::Pipe& a, const organ::Pipe& b) {
        return a.key == b.key && a.stop == b.stop && a.division == b.division;
    };
    for (std::size_t i = 0; i < to.size() && calls.size() < most; ++i)
        if (!same(to[i], i > 0 ? to[i - 1] : pipe()))
            // A mixture's are heard without their reference at first.
            calls.push_back(
                call_for(to[i], is_of_mixture(to[i].id) ? std::nullopt : reference_of(to[i])));
    return calls;
}

// The next key belongs to other stops: nothing tells that the helper has gone on but the key's end.
bool Run::ends_stop_in_silence(const tuning::PipeState& state) {
    constexpr Seconds kSilent{1.5};
    if (!options_.only_listed || state.stage != tuning::Stage::waiting || !keeper_.heard()) {
        silent_since_.reset();
        return false;
    }
    if (!silent_since_) silent_since_ = now_.at;
    return outcomes_[current_].settled && now_.at - *silent_since_ >= kSilent && ahead().empty() &&
           anything_ahead();
}

}  // namespace rankwright::visit
