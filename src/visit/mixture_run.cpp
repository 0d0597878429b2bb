#include "visit/mixture_run.h"

#include <algorithm>
#include <iterator>
#include <map>
#include <optional>

namespace rankwright::visit {

MixtureRun::MixtureRun(Run& run) : run_(run) { set_mutes(); }

std::vector<std::size_t> MixtureRun::key_pipes() const {
    std::vector<std::size_t> found;
    const std::vector<organ::Pipe>& pipes = run_.pipes();
    for (std::size_t i = 0; i < pipes.size(); ++i)
        if (pipes[i].key == run_.pipe().key) found.push_back(i);
    std::sort(found.begin(), found.end(),
              [&](std::size_t a, std::size_t b) { return pipes[a].id.row < pipes[b].id.row; });
    return found;
}

tuning::KeyExpectation MixtureRun::expectation() const {
    tuning::KeyExpectation expected;
    expected.none_muted = none_muted_;
    for (const std::size_t i : key_pipes()) {
        if (i == run_.current()) expected.wanted = expected.pipes.size();
        expected.pipes.push_back(run_.pipes()[i]);
        expected.targets.push_back(run_.target_of(run_.pipes()[i]));
        expected.tolerances.push_back(tuning::tolerance_at(expected.targets.back()));
    }
    std::map<int, std::vector<double>> ratios;  // by key
    for (const organ::Pipe& pipe : run_.pipes()) {
        if (pipe.key == run_.pipe().key) continue;
        expected.others.push_back({pipe.id, run_.target_of(pipe)});
        ratios[pipe.key].push_back(pipe.ratio);
    }
    for (const organ::Pipe& pipe : run_.pipes()) {
        if (pipe.key == run_.pipe().key || pipe.id.row != 1) continue;
        const double together = tuning::common_pitch(ratios[pipe.key]) / pipe.ratio;
        PipeId all = pipe.id;
        all.row = 0;
        expected.others.push_back({all, run_.target_of(pipe) * together});
    }
    return expected;
}

void MixtureRun::set_mutes() {
    std::set<PipeId> wanted;
    if (!none_muted_)
        for (const std::size_t i : key_pipes())
            if (i != run_.current()) wanted.insert(run_.pipes()[i].id);
    moves_ = {};
    std::set_difference(wanted.begin(), wanted.end(), mutes_.begin(), mutes_.end(),
                        std::back_inserter(moves_.in));
    std::set_difference(mutes_.begin(), mutes_.end(), wanted.begin(), wanted.end(),
                        std::back_inserter(moves_.out));
    mutes_ = std::move(wanted);
    at_ = run_.pipe().id;
}

void MixtureRun::turn_to(std::size_t pipe, bool none_muted) {
    const bool other_key = run_.pipes()[pipe].key != run_.pipe().key;
    run_.go_to(run_.pipes()[pipe].id);
    if (other_key) suspects_.clear();
    none_muted_ = none_muted;
    set_mutes();
}

// As the run goes on: to what isn't done yet, then to what has cooled. A key's pipes from the
// lowest row up.
std::size_t MixtureRun::lowest_ahead(bool also_here) const {
    const std::vector<organ::Pipe>& pipes = run_.pipes();
    std::optional<std::size_t> lowest;
    for (const std::size_t i : run_.ahead()) {
        if (pipes[i].key == run_.pipe().key && !also_here) continue;
        if (!lowest)
            lowest = i;
        else if (pipes[i].key == pipes[*lowest].key && pipes[i].id.row < pipes[*lowest].id.row)
            lowest = i;
    }
    return lowest.value_or(run_.current());
}

std::size_t MixtureRun::upcoming() const {
    if (whole_first_) {
        auto at = suspects_.begin();
        if (!none_muted_) {
            at = std::find(suspects_.begin(), suspects_.end(), run_.current());
            if (at != suspects_.end()) ++at;
        }
        return at != suspects_.end() ? *at : lowest_ahead(false);
    }
    const std::vector<std::size_t> ahead = run_.ahead();
    const std::vector<std::size_t> here = key_pipes();
    const auto at = std::find_if(
        std::find(here.begin(), here.end(), run_.current()) + 1, here.end(),
        [&](std::size_t i) { return std::find(ahead.begin(), ahead.end(), i) != ahead.end(); });
    return at != here.end() ? *at : lowest_ahead(true);
}

bool MixtureRun::next() {
    const std::size_t to = upcoming();
    const bool other_key = run_.pipes()[to].key != run_.pipe().key;
    if (to == run_.current() && !(whole_first_ && none_muted_ && !suspects_.empty())) {
        // Another stop may wait.
        if (!run_.ahead().empty() || !run_.next()) return false;
        follow_run();
        return true;
    }
    turn_to(to, whole_first_ && other_key);
    return true;
}

bool MixtureRun::back() {
    if (!run_.back()) return false;
    follow_run();
    return true;
}

void MixtureRun::hear_whole() {
    none_muted_ = !none_muted_;
    whole_first_ = none_muted_;
    if (none_muted_) suspects_.clear();
    set_mutes();
}

// While other ranks are gone to, the mutes stay where they are.
void MixtureRun::follow_run() {
    if (run_.job() != Job::mixture || run_.pipe().id == at_) return;
    const bool other_key = run_.pipe().id.key != at_.key || run_.pipe().id.stop != at_.stop;
    if (other_key) suspects_.clear();
    none_muted_ = whole_first_ && other_key;
    set_mutes();
}

bool MixtureRun::follow(const tuning::MixtureKeyState& state) {
    using Sounds = tuning::MixtureKeyState::Sounds;
    if (none_muted_) {
        const std::vector<std::size_t> here = key_pipes();
        suspects_.clear();
        for (const std::size_t i : state.suspects)
            suspects_.push_back(here[i]);
        return false;
    }
    const bool other_sounds =
        state.sounds == Sounds::wrong_pipe || state.sounds == Sounds::other_key;
    if (!other_sounds || !state.other || !run_.outcomes()[run_.current()].settled) return false;
    const organ::Pipe& then = run_.pipes()[upcoming()];
    const bool meant =
        *state.other == then.id || (then.key != run_.pipe().key && state.other->key == then.id.key);
    return meant && next();
}

}  // namespace rankwright::visit
