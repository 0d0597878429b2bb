#include "app/mixture_snapshot.h"

#include "app/mixture_untold.h"
#include "organ/footage.h"

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

namespace rankwright::app {

namespace {

using Sounds = tuning::MixtureKeyState::Sounds;

// "2 2/3′", from the pitch beside an 8′ pipe.
std::string feet(const organ::Pipe& pipe) {
    constexpr int kMost = 64;
    const double feet = 8.0 / pipe.ratio;
    for (int denominator = 1; denominator <= kMost; ++denominator) {
        const double numerator = std::round(feet * denominator);
        if (std::abs(numerator / denominator / feet - 1.0) < 1e-6)
            return organ::to_string({static_cast<int>(numerator), denominator}) + "′";
    }
    return {};
}

// Rows of one key may sound the same pitch: then their places tell them apart.
std::string name_in(const std::vector<organ::Pipe>& key, const organ::Pipe& pipe) {
    const auto same = std::count_if(key.begin(), key.end(), [&](const organ::Pipe& other) {
        return std::abs(other.ratio / pipe.ratio - 1.0) < 1e-6;
    });
    return same > 1 ? feet(pipe) + " row " + std::to_string(pipe.id.row) : feet(pipe);
}

std::string level_words(Decibels level) {
    return std::to_string(std::lround(-level.value())) + " dB";
}

const organ::Pipe* find(const visit::Run& run, const PipeId& id) {
    const auto found = std::find_if(run.pipes().begin(), run.pipes().end(),
                                    [&](const organ::Pipe& pipe) { return pipe.id == id; });
    return found == run.pipes().end() ? nullptr : &*found;
}

// The key that plays a pipe, by the pipe's own number.
std::string note_of(const visit::Run& run, int key) {
    const auto found = std::find_if(run.pipes().begin(), run.pipes().end(),
                                    [&](const organ::Pipe& pipe) { return pipe.id.key == key; });
    return found == run.pipes().end() ? std::string() : found->note;
}

// The rows of a pipe and its twin.
std::string either_of(const std::vector<organ::Pipe>& key, std::size_t pipe, std::size_t twin) {
    return "row " + std::to_string(key[std::min(pipe, twin)].id.row) + " or " +
           std::to_string(key[std::max(pipe, twin)].id.row);
}

void say_what_is_untold(overlay::MixtureKey& key, const tuning::MixtureKeyState& state) {
    for (std::size_t i = 0; i < key.pipes.size(); ++i) {
        const tuning::KeyPipeState& heard = state.pipes[i];
        if (heard.presence != listening::Presence::cannot_tell) continue;
        UntoldPipe untold{heard.untold, {}, heard.stray};
        for (const std::size_t other : heard.not_told_from)
            untold.others.push_back(key.pipes[other].pitch);
        const UntoldWords words = words_for(untold);
        key.pipes[i].untold = words.brief;
        if (key.to_tell.empty())
            key.to_tell = key.pipes[i].pitch + " " + words.because + ": " + words.remedy + ".";
    }
}

overlay::MixtureKey key_of(const MixtureWork& work, const visit::Run& run) {
    const tuning::KeyExpectation& expected = *work.key().expectation();
    const tuning::MixtureKeyState& state = work.key().state();
    overlay::MixtureKey key;
    key.none_muted = expected.none_muted;
    key.heard_whole = expected.none_muted && state.confirmed;
    key.mutes_in = static_cast<int>(work.order().mutes().size());
    const double lowest =
        std::min_element(expected.pipes.begin(), expected.pipes.end(), [](auto& a, auto& b) {
            return a.ratio < b.ratio;
        })->ratio;
    const std::vector<std::size_t> places = work.order().key_pipes();
    for (std::size_t i = 0; i < expected.pipes.size(); ++i) {
        const organ::Pipe& pipe = expected.pipes[i];
        const tuning::KeyPipeState& heard = state.pipes[i];
        const visit::PipeOutcome& outcome = run.outcomes()[places[i]];
        overlay::KeyPipe shown;
        shown.pitch = name_in(expected.pipes, pipe);
        shown.feet = feet(pipe);
        shown.height = static_cast<float>(std::pow(lowest / pipe.ratio, 0.6));
        shown.current = i == expected.wanted && !expected.none_muted;
        shown.muted = work.order().mutes().count(pipe.id) > 0;
        shown.settled = outcome.settled;
        shown.deviation = heard.deviation ? heard.deviation : outcome.last;
        shown.uncertainty = heard.uncertainty;
        if (shown.current || (outcome.settled && !expected.none_muted)) {
            shown.deviation = outcome.last;
            shown.uncertainty.reset();
        }
        if (heard.twin && key.heard_whole) shown.either = either_of(expected.pipes, i, *heard.twin);
        key.pipes.push_back(std::move(shown));
    }
    for (const std::size_t i : state.leaks)
        key.pipes[i].leak = state.pipes[i].level;
    for (const std::size_t i : state.missing)
        key.pipes[i].silent = true;
    for (std::size_t k = 0; k < state.suspects.size(); ++k)
        key.pipes[state.suspects[k]].suspect = static_cast<int>(k) + 1;
    key.in_hand = key.pipes[expected.wanted].pitch;
    if (key.heard_whole) say_what_is_untold(key, state);
    return key;
}

void name_next(overlay::MixtureKey& key, const MixtureWork& work, const visit::Run& run) {
    const std::size_t upcoming = work.order().upcoming();
    if (upcoming == run.current()) return;
    const organ::Pipe& next = run.pipes()[upcoming];
    key.next_pitch = feet(next);
    if (next.key != run.pipe().key) {
        key.next_note = next.note;
        return;
    }
    const std::vector<organ::Pipe>& pipes = work.key().expectation()->pipes;
    key.next_pitch = name_in(pipes, next);
}

// What sounds instead of the pipe in hand, or beside it though it should be muted.
void name_others(overlay::MixtureKey& key, const MixtureWork& work, const visit::Run& run) {
    const tuning::KeyExpectation& expected = *work.key().expectation();
    const tuning::MixtureKeyState& state = work.key().state();
    if (state.other) {
        const organ::Pipe* other = find(run, *state.other);
        if (other != nullptr && state.sounds == Sounds::wrong_pipe)
            key.instead = name_in(expected.pipes, *other);
        if (state.sounds == Sounds::other_key)
            key.instead = other != nullptr ? feet(*other) + " of " + other->note
                                           : note_of(run, state.other->key);
    }
    if (state.sounds != Sounds::several) return;
    for (std::size_t i = 0; i < expected.pipes.size(); ++i) {
        // By pitch alone it isn't known which others: all.
        const bool heard_so = state.pipes[i].presence != listening::Presence::silent;
        if (i != expected.wanted && heard_so)
            key.to_mute += (key.to_mute.empty() ? "" : ", ") + key.pipes[i].pitch;
    }
}

void add_notices(overlay::Snapshot& out, const tuning::MixtureKeyState& state) {
    const overlay::MixtureKey& key = *out.mixture;
    for (const std::size_t i : state.leaks)
        if (const auto level = state.pipes[i].level)
            out.notices.insert(
                out.notices.begin(),
                {false, "The mute in " + key.pipes[i].pitch + " leaks: heard " +
                            level_words(*level) + " under " + key.in_hand + ". Press it home."});
    for (const std::size_t i : state.missing)
        out.notices.push_back(
            {false, (key.pipes[i].either.empty() ? key.pipes[i].pitch
                                                 : key.pipes[i].feet + " " + key.pipes[i].either) +
                        " is silent: a mute left in, or it doesn't speak."});
}

}  // namespace

void fill_mixture(overlay::Snapshot& out, const MixtureWork& work, const visit::Run& run) {
    const tuning::MixtureKeyState& state = work.key().state();
    out.mixture = key_of(work, run);
    name_next(*out.mixture, work, run);
    name_others(*out.mixture, work, run);
    out.alone = out.alone && run.paired_expectation().has_value();
    if (out.reference.empty()) out.job = "pipe by pipe, the others muted";
    if (out.mixture->none_muted) {
        out.job = "each key whole, then the pipes that are off";
        out.deviation.reset();
        out.advice = {};
        out.amount.clear();
        out.ribbons.clear();
    }
    add_notices(out, state);
}

}  // namespace rankwright::app
