#include "tuning/mixture_key.h"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <utility>

namespace rankwright::tuning {

namespace {

using listening::Presence;
using Sounds = MixtureKeyState::Sounds;

constexpr Cents kWanted{60.0};
constexpr Cents kSamePitch{45.0};
// A muted pipe this much softer than the loudest leaks; a louder one has no mute in.
constexpr Decibels kLeaks{-12.0};
// Speech and the room's build-up don't belong to the span.
constexpr Seconds kSpeech{0.3};
// So far over the quietest moment something sounds, be it no tone; and so slowly that is forgotten.
constexpr Decibels kLoud{15.0};
constexpr double kForgets_db = 0.5;  // a second
// What goes on for so long, and of which the ear for one makes nothing that stands, is heard whole
// as it is: pipes that beat with each other sound like that.
constexpr Seconds kAnyway{4.0};
// From one hearing of the whole to the next, while something is still to be found out, and after.
constexpr Seconds kSoon{1.2};
constexpr Seconds kLater{4.8};

// A footage's ratio as whole numbers: those of a mixture are simple.
listening::PureRatio pure_ratio(double ratio) {
    constexpr int kMost = 64;
    listening::PureRatio best;
    for (int denominator = 1; denominator <= kMost; ++denominator) {
        const double numerator = std::round(ratio * denominator);
        best = {static_cast<int>(numerator), denominator};
        if (std::abs(numerator / denominator / ratio - 1.0) < 1e-6) break;
    }
    return best;
}

}  // namespace

double common_pitch(const std::vector<double>& ratios) {
    int top = 0, bottom = 1;
    for (const double ratio : ratios) {
        const listening::PureRatio one = pure_ratio(ratio);
        const int both = std::lcm(bottom, one.denominator);
        top = std::gcd(top * (both / bottom), one.numerator * (both / one.denominator));
        bottom = both;
    }
    return static_cast<double>(top) / bottom;
}

void MixtureKey::expect(KeyExpectation expectation) {
    const auto same_key = [&] {
        return expectation_ && expectation_->pipes.size() == expectation.pipes.size() &&
               expectation_->pipes.front().id == expectation.pipes.front().id;
    };
    const bool same = same_key() && expectation_->wanted == expectation.wanted &&
                      expectation_->none_muted == expectation.none_muted &&
                      expectation_->reference.has_value() == expectation.reference.has_value();
    const bool keeps_whole = same_key() && !expectation.none_muted;
    std::vector<KeyPipeState> known = std::move(state_.pipes);
    expectation_ = std::move(expectation);
    if (same) {
        state_.pipes = std::move(known);
        return;
    }
    state_ = {};
    state_.pipes.resize(expectation_->pipes.size());
    answers_ = 0;
    // What was heard of the pipes of this key stays beside them; who sounds now is asked anew.
    for (std::size_t i = 0; keeps_whole && i < known.size(); ++i) {
        state_.pipes[i].deviation = known[i].deviation;
        state_.pipes[i].uncertainty = known[i].uncertainty;
    }
    heard_.reset();
    ++id_;
    out_ = whole_holds_ = false;
    undisturbed_since_ = silent_until_ = at_;
    next_ask_.reset();
}

bool MixtureKey::near(std::size_t pipe, Hertz heard, Cents within) const {
    return apart(expectation_->targets[pipe], heard) <= within;
}

// Several pipes together may be heard as the tone of which they would be partials.
bool MixtureKey::common_fundamental(Hertz heard) const {
    const KeyExpectation& e = *expectation_;
    for (std::size_t i = 0; i < e.pipes.size(); ++i)
        for (std::size_t j = 0; j < i; ++j) {
            const double ratio = common_pitch({e.pipes[i].ratio, e.pipes[j].ratio});
            if (apart(e.targets[i] * (ratio / e.pipes[i].ratio), heard) <= kSamePitch) return true;
        }
    return false;
}

void MixtureKey::name_by_pitch(Hertz heard) {
    const KeyExpectation& e = *expectation_;
    state_.other.reset();
    if (near(e.wanted, heard, kWanted)) {
        state_.sounds = Sounds::right;
        heard_ = {e.wanted, heard};
        return;
    }
    for (std::size_t i = 0; i < e.pipes.size(); ++i) {
        if (!near(i, heard, kSamePitch)) continue;
        state_.sounds = Sounds::wrong_pipe;
        state_.other = e.pipes[i].id;
        heard_ = {i, heard};
        return;
    }
    if (common_fundamental(heard)) {
        state_.sounds = Sounds::several;
        return;
    }
    const OtherKeyPipe* nearest = nullptr;
    const int key = e.pipes[e.wanted].id.key;
    const auto keys_away = [&](const OtherKeyPipe& one) { return std::abs(one.pipe.key - key); };
    for (const OtherKeyPipe& other : e.others) {
        if (apart(other.pitch, heard) > kSamePitch) continue;
        if (!nearest || keys_away(other) < keys_away(*nearest)) nearest = &other;
    }
    state_.sounds = nearest ? Sounds::other_key : Sounds::unknown;
    if (nearest) state_.other = nearest->pipe;
}

void MixtureKey::hear(Seconds at, const listening::Hearing& hearing, const PipeState& single) {
    if (!expectation_) return;
    using listening::Sounding;
    at_ = at;
    const bool stands = hearing.sounding == Sounding::steady;
    const bool tone = hearing.sounding != Sounding::silence;
    hear_level(at, hearing.input.rms);
    sounds_ = tone || loud_;
    // All together rarely stand still as one tone: the span only has to be full of them.
    if (!stands && !(expectation_->none_muted && sounds_)) undisturbed_since_ = at;
    if (!sounds_) silent_until_ = at;
    heard_.reset();
    if (expectation_->none_muted) {
        if (!sounds_) state_.sounds = Sounds::unknown;
        return;
    }
    if (!hearing.reading || !sounds_) {
        if (!sounds_) state_.sounds = Sounds::unknown;
        return;
    }
    const bool still_speaking = !single.deviation && !single.wrong_pitch;
    if (still_speaking) return;
    name_by_pitch(hearing.reading->pitch);
    const auto named = heard_ ? std::optional{heard_->pipe} : std::nullopt;
    if (named != named_) whole_holds_ = false;
    named_ = named;
    if (whole_holds_)
        judge_whole();
    else if (state_.sounds != Sounds::right)
        state_.confirmed = false;
}

void MixtureKey::hear_level(Seconds at, Decibels rms) {
    const Seconds passed = std::max(Seconds{0.0}, at - level_at_);
    level_at_ = at;
    quietest_ = std::min(rms, quietest_ + Decibels{kForgets_db * passed.count()});
    loud_ = rms > quietest_ + kLoud;
}

void MixtureKey::hear_beside_reference(Seconds at, const PipeState& pipe) {
    if (!expectation_) return;
    at_ = silent_until_ = at;
    sounds_ = pipe.stage == Stage::reading || pipe.stage == Stage::settled;
    if (!sounds_) {
        undisturbed_since_ = at;
        heard_.reset();
        state_.sounds = Sounds::unknown;
        return;
    }
    if (!pipe.pitch) return;
    state_.sounds = Sounds::right;
    state_.other.reset();
    heard_ = {expectation_->wanted, *pipe.pitch};
    if (whole_holds_) judge_whole();
}

std::optional<MixtureKey::Question> MixtureKey::ask() {
    if (!expectation_ || out_ || !sounds_) return std::nullopt;
    const bool stood = at_ - undisturbed_since_ >= kSpan + kSpeech;
    const bool anyway = !state_.confirmed && at_ - silent_until_ >= kAnyway;
    if (!(stood || anyway) || (next_ask_ && at_ < *next_ask_)) return std::nullopt;
    const KeyExpectation& e = *expectation_;
    // A tone of another key needs no more to be known of.
    if (!e.none_muted && state_.sounds == Sounds::other_key) return std::nullopt;
    Question question;
    question.id = id_;
    asked_.clear();
    for (std::size_t i = 0; i < e.pipes.size(); ++i) {
        const std::size_t room = listening::kMostMixturePipes - asked_.size();
        const bool keep_for_wanted = i < e.wanted && room == 1;
        if (room == 0 || keep_for_wanted) continue;
        if (heard_ && heard_->pipe == i) question.request.heard = {asked_.size(), heard_->pitch};
        asked_.push_back(i);
        question.request.pipes.push_back(pure_ratio(e.pipes[i].ratio));
    }
    question.request.unison = e.targets[e.wanted] / e.pipes[e.wanted].ratio;
    question.request.reference = e.reference;
    stood_ = stood;
    out_ = true;
    return question;
}

// Which of two pipes of one pitch is which isn't heard; one hearing gives them the places that the
// last gave them.
void MixtureKey::keep_twins(listening::MixtureReading& reading) const {
    constexpr double kUnlike_cents = 20.0;
    const auto misfit = [&](const listening::MixturePipeReading& now, std::size_t pipe) {
        const auto& before = before_[pipe].deviation;
        if (now.hz.has_value() != before.has_value()) return kUnlike_cents;
        if (!before) return 0.0;
        const Cents off = interval(expectation_->targets[pipe], *now.hz);
        return std::min(kUnlike_cents, std::abs((off - *before).value()));
    };
    for (std::size_t k = 0; k < asked_.size(); ++k) {
        listening::MixturePipeReading& one = reading.pipes[k];
        if (!one.twin || *one.twin <= k) continue;
        const std::size_t twin = *one.twin;
        listening::MixturePipeReading& other = reading.pipes[twin];
        if (misfit(other, asked_[k]) + misfit(one, asked_[twin]) >=
            misfit(one, asked_[k]) + misfit(other, asked_[twin]))
            continue;
        std::swap(one, other);
        std::swap(one.twin, other.twin);
        for (listening::MixturePipeReading& pipe : reading.pipes)
            for (std::size_t& with : pipe.unresolved_with)
                with = with == k ? twin : with == twin ? k : with;
    }
}

void MixtureKey::answer(int id, std::optional<listening::MixtureReading> reading) {
    if (id != id_ || !expectation_) return;
    out_ = false;
    next_ask_ = at_ + kSoon;
    if (!reading) return;
    ++answers_;
    before_ = state_.pipes;
    if (expectation_->none_muted) keep_twins(*reading);
    double loudest = -1e9;
    for (const listening::MixturePipeReading& pipe : reading->pipes)
        if (pipe.level && pipe.presence == Presence::sounding)
            loudest = std::max(loudest, pipe.level->value());
    // A voice is loud too, or a hammer.
    if (!stood_ && loudest < -1e8) return;
    for (std::size_t k = 0; k < asked_.size(); ++k) {
        const listening::MixturePipeReading& heard = reading->pipes[k];
        KeyPipeState& pipe = state_.pipes[asked_[k]];
        pipe.presence = heard.presence;
        pipe.level.reset();
        pipe.untold = heard.untold;
        pipe.stray = heard.stray;
        pipe.twin.reset();
        if (heard.twin && expectation_->none_muted) pipe.twin = asked_[*heard.twin];
        pipe.hidden_by_reference = false;
        pipe.not_told_from.clear();
        for (const std::size_t other : heard.unresolved_with)
            if (other < asked_.size())
                pipe.not_told_from.push_back(asked_[other]);
            else
                pipe.hidden_by_reference = true;
        // What an earlier hearing took for it may have been another's partial.
        if (expectation_->none_muted) pipe.deviation.reset();
        if (heard.presence != Presence::sounding || !heard.hz || !heard.level) continue;
        pipe.level = Decibels{heard.level->value() - loudest};
        pipe.deviation = interval(expectation_->targets[asked_[k]], *heard.hz);
        pipe.uncertainty = heard.cents_sd;
    }
    whole_holds_ = true;
    if (expectation_->none_muted)
        judge_none_muted();
    else
        judge_whole();
    const bool all_said = state_.confirmed && state_.leaks.empty();
    next_ask_ = at_ + (all_said ? kLater : kSoon);
}

/// One hearing may take a pipe for another one's partial: the technician isn't sent to it before
/// the next says the same.
bool MixtureKey::as_heard_before(std::size_t pipe) const {
    constexpr Cents kSame{1.0};
    const KeyPipeState &before = before_[pipe], &now = state_.pipes[pipe];
    return before.presence == Presence::sounding && before.deviation &&
           std::abs((*now.deviation - *before.deviation).value()) <
               kSame.value() + 2.0 * (now.uncertainty->value() + before.uncertainty->value());
}

void MixtureKey::judge_none_muted() {
    constexpr int kEnough = 4;  // what is heard otherwise each time isn't waited for any longer
    const KeyExpectation& e = *expectation_;
    state_.suspects.clear();
    state_.missing.clear();
    state_.confirmed = true;
    state_.sounds = Sounds::right;
    for (std::size_t i = 0; i < e.pipes.size(); ++i) {
        const KeyPipeState& pipe = state_.pipes[i];
        if (pipe.presence == Presence::silent) state_.missing.push_back(i);
        if (pipe.presence != Presence::sounding || !pipe.deviation) continue;
        const double off = std::abs(pipe.deviation->value());
        if (off <= e.tolerances[i].value() || off <= 2.0 * pipe.uncertainty->value()) continue;
        if (as_heard_before(i) || answers_ >= kEnough)
            state_.suspects.push_back(i);
        else
            state_.confirmed = false;
    }
    // What is heard is the beat: cents weigh as the pitch is high.
    const auto beat = [&](std::size_t i) {
        return std::abs(state_.pipes[i].deviation->value()) * e.targets[i].value();
    };
    std::stable_sort(state_.suspects.begin(), state_.suspects.end(),
                     [&](std::size_t a, std::size_t b) { return beat(a) > beat(b); });
    add_twins_of_suspects();
}

// Who finds the one in tune goes on to the other.
void MixtureKey::add_twins_of_suspects() {
    std::vector<std::size_t> all;
    const auto add = [&](std::size_t pipe) {
        if (std::find(all.begin(), all.end(), pipe) == all.end()) all.push_back(pipe);
    };
    for (const std::size_t i : state_.suspects) {
        add(i);
        if (state_.pipes[i].twin) add(*state_.pipes[i].twin);
    }
    state_.suspects = std::move(all);
}

void MixtureKey::judge_whole() {
    const KeyExpectation& e = *expectation_;
    state_.leaks.clear();
    const auto level = [&](std::size_t i) {
        const KeyPipeState& pipe = state_.pipes[i];
        return pipe.presence == Presence::sounding && pipe.level ? pipe.level->value() : -1e9;
    };
    std::size_t loudest = e.wanted;
    bool several = false;
    for (std::size_t i = 0; i < e.pipes.size(); ++i) {
        if (level(i) > level(loudest)) loudest = i;
        if (i == e.wanted || level(i) < -1e8) continue;
        if (level(i) > kLeaks.value())
            several = true;
        else
            state_.leaks.push_back(i);
    }
    std::stable_sort(state_.leaks.begin(), state_.leaks.end(),
                     [&](std::size_t a, std::size_t b) { return level(a) > level(b); });
    const bool wanted_sounds = level(e.wanted) > kLeaks.value();
    // The ear for one pipe is quicker when the mutes move; the whole knows better while they rest.
    const bool other_than_heard =
        heard_ && level(heard_->pipe) < -1e8 && loudest != heard_->pipe && level(loudest) > -1e8;
    if (other_than_heard) {
        state_.confirmed = false;
        return;
    }
    if (wanted_sounds) {
        state_.sounds = several ? Sounds::several : Sounds::right;
        state_.other.reset();
    } else if (level(loudest) > -1e8) {
        state_.sounds = Sounds::wrong_pipe;
        state_.other = e.pipes[loudest].id;
    }
    state_.confirmed = state_.sounds == Sounds::right;
}

PipeState MixtureKey::shown(const PipeState& single) const {
    PipeState shown = single;
    if (!expectation_ || expectation_->none_muted) return shown;
    const KeyPipeState& whole = state_.pipes[expectation_->wanted];
    if (state_.sounds == Sounds::right && single.wrong_pitch && whole.deviation) {
        shown = {};
        shown.stage = Stage::reading;
        shown.deviation = whole.deviation;
        shown.uncertainty = whole.uncertainty;
        shown.pitch = transpose(expectation_->targets[expectation_->wanted], *whole.deviation);
        shown.heard = kSpan;
        return shown;
    }
    const bool another = state_.sounds == Sounds::several || state_.sounds == Sounds::wrong_pipe ||
                         single.wrong_pitch;
    if (another && sounds_) {
        shown = {};
        shown.stage = Stage::wrong_key;
        shown.wrong_pitch = single.wrong_pitch ? single.wrong_pitch : single.pitch;
    } else if (single.stage == Stage::settled && !state_.confirmed) {
        shown.stage = Stage::reading;
    }
    return shown;
}

}  // namespace rankwright::tuning
