#include "visit/survey_keeper.h"

#include "core/text.h"
#include "organ/pitch_of_day.h"
#include "visit/faults.h"
#include "visit/wall_time.h"

#include <algorithm>
#include <chrono>
#include <cmath>
#include <optional>
#include <set>
#include <utility>

namespace rankwright::visit {

namespace {

using tuning::FaultKind;
using tuning::SurveyFault;
using tuning::SurveyReading;

constexpr std::string_view kDead = kFaults[0];
constexpr std::string_view kSlow = kFaults[1];
constexpr std::string_view kOffSpeech = kFaults[2];
constexpr std::string_view kCiphers = kFaults[3];

bool has(const tuning::SurveyResult& result, FaultKind kind) {
    return std::any_of(result.faults.begin(), result.faults.end(),
                       [&](const SurveyFault& fault) { return fault.kind == kind; });
}

/// A pipe's own pitch, honestly read.
bool worth_keeping(const SurveyReading& reading) {
    return reading.tone.read && !reading.tone.tremulant && reading.slip == tuning::Slip::none;
}

KeptReading kept_of(const SurveyReading& reading, SampleRate rate, const organ::Day& day) {
    KeptReading kept;
    kept.pipe = reading.pipe.id;
    kept.moment = Moment::survey;
    kept.pitch = reading.tone.pitch;
    kept.target = reading.target;
    kept.deviation = reading.deviation;
    kept.uncertainty = reading.tone.uncertainty;
    kept.heard = duration(reading.tone.to - reading.tone.stood, rate);
    kept.air = organ::temperature_of(day, reading.pipe.id.division);
    return kept;
}

/// What is wrong with the pipe as the trade says it; empty where the survey isn't sure of it, and
/// for what isn't about a pipe.
std::optional<Fault> fault_of(const SurveyFault& fault) {
    if (!fault.pipe) return std::nullopt;
    const auto named = [&](std::string_view word, std::string words) {
        return Fault{fault.pipe->id, std::string(word), std::move(words)};
    };
    switch (fault.kind) {
        case FaultKind::missing:
            if (!fault.time_passed || !*fault.time_passed || fault.sounded) return std::nullopt;
            return named(kDead, "survey: silent while time passed for its key");
        case FaultKind::cipher:
            return named(kCiphers, "survey: sounds on under other keys");
        case FaultKind::octave:
            return named(kOffSpeech, text_of({"survey: sounds ", interval_words(fault.interval),
                                              ", unless another key was played"}));
        case FaultKind::off_speech:
            if (fault.heard)
                return named(kOffSpeech, text_of({"survey: ", decimal(fault.heard->value(), 0),
                                                  " Hz before its own note"}));
            if (fault.speech)
                return named(kSlow, text_of({"survey: ", decimal(fault.speech->count(), 1),
                                             " s to its note"}));
            return named(kOffSpeech, "survey: its note never settles");
        case FaultKind::wrong_stop:
        case FaultKind::second_pipe:
        case FaultKind::semitone_doubtful:
        case FaultKind::tremulant:
        case FaultKind::no_key:
            break;
    }
    return std::nullopt;
}

}  // namespace

std::string why_not_kept(const tuning::SurveyResult& result) {
    if (has(result, FaultKind::wrong_stop))
        return "nothing is kept of it: another stop was drawn than the one asked for";
    if (has(result, FaultKind::second_pipe))
        return "nothing is kept of it: with each key a second pipe sounded";
    if (has(result, FaultKind::semitone_doubtful))
        return "nothing is kept of it yet: the keys may all be one off";
    if (has(result, FaultKind::tremulant))
        return "no reading under the tremulant is kept: turn it off and play again";
    return {};
}

bool broken_off(const Run& run) {
    std::size_t heard = 0;
    for (const organ::Pipe& pipe : run.pipes()) {
        const PipeRecord& known = run.record().of(pipe.id);
        if (known.before || known.after) return false;
        heard += known.survey ? 1U : 0U;
    }
    return heard > 0 && heard < run.pipes().size();
}

std::vector<tuning::HeardTone> SurveyKeeper::recall(SampleRate rate) {
    constexpr auto kSameAir = std::chrono::hours(2);
    constexpr Seconds kApart{2.3};
    constexpr Seconds kBefore{10.0};
    kept_.clear();
    std::vector<tuning::HeardTone> tones;
    if (!broken_off(run_)) return tones;
    for (const BookEntry& entry : counted(run_.record().entries())) {
        const auto* reading = std::get_if<KeptReading>(&entry.matter);
        const bool of_rank = reading != nullptr && reading->moment == Moment::survey &&
                             reading->pipe.division == run_.pipe().id.division &&
                             reading->pipe.stop == run_.pipe().id.stop;
        if (of_rank && wall_now() - entry.at < kSameAir)
            kept_.push_back({*reading, {}, {}, entry.serial, true});
    }
    const auto frames = [&](Seconds time) { return std::llround(time.count() * rate.value()); };
    FrameIndex from = FrameIndex{} + -frames(kBefore + kApart * static_cast<double>(kept_.size()));
    for (Kept& one : kept_) {
        tuning::HeardTone tone;
        tone.from = from;
        tone.to = tone.left = from + frames(kApart - Seconds{0.3});
        tone.stood = std::max(tone.from, tone.to + -frames(one.reading.heard));
        tone.pitch = tone.about = one.reading.pitch;
        tone.uncertainty = one.reading.uncertainty;
        tone.read = true;
        tone.speech = Seconds{0.0};
        one.from = tone.from;
        one.to = tone.left;
        tones.push_back(tone);
        from = from + frames(kApart);
    }
    return tones;
}

void SurveyKeeper::keep_readings(const SurveyedStop& survey) { keep(survey, false); }

void SurveyKeeper::keep_all(const SurveyedStop& survey, const std::vector<Finding>& findings) {
    if (survey.result.pitch_measured) run_.take_measured_pitch(*survey.result.pitch);
    keep(survey, true);
    keep_faults(survey);
    propose(survey, findings);
}

// While the play goes on A is still being found: targets are put right at its end only.
void SurveyKeeper::keep(const SurveyedStop& survey, bool at_todays_targets) {
    constexpr Cents kNews{0.05};
    const bool doubtful = has(survey.result, FaultKind::wrong_stop) ||
                          has(survey.result, FaultKind::second_pipe) ||
                          has(survey.result, FaultKind::semitone_doubtful);
    const auto undone = withdrawn_in(run_.record().entries());
    for (Kept& one : kept_)
        one.found = false;
    for (const SurveyReading& reading : survey.result.readings) {
        if (doubtful || !worth_keeping(reading)) continue;
        const KeptReading now = kept_of(reading, survey.rate, run_.day());
        const FrameIndex from = reading.tone.from, to = reading.tone.left;
        const auto same = std::find_if(kept_.begin(), kept_.end(), [&](const Kept& one) {
            return one.reading.pipe == now.pipe && one.from < to && from < one.to;
        });
        if (same == kept_.end()) {
            kept_.push_back({now, from, to, run_.note(now), true});
            continue;
        }
        same->found = true;
        const KeptReading& before = same->reading;
        const bool other_target =
            std::abs(interval(before.target, now.target).value()) > kNews.value();
        const bool holds = before.pitch == now.pitch && !(at_todays_targets && other_target);
        if (holds || undone.contains(same->serial)) continue;
        run_.note(Withdrawal{same->serial});
        *same = {now, from, to, run_.note(now), true};
    }
    for (const Kept& one : kept_)
        if (!one.found && !undone.contains(one.serial)) run_.note(Withdrawal{one.serial});
    std::erase_if(kept_, [](const Kept& one) { return !one.found; });
}

void SurveyKeeper::keep_faults(const SurveyedStop& survey) {
    std::vector<Fault> wanted;
    for (const SurveyFault& found : survey.result.faults)
        if (auto fault = fault_of(found)) wanted.push_back(std::move(*fault));
    if (!why_not_kept(survey.result).empty()) wanted.clear();
    const auto same = [](const PipeId& pipe, std::string_view fault) {
        return [&pipe, fault](const auto& one) { return one.pipe == pipe && one.fault == fault; };
    };
    withdraw_if(faults_, [&](const Noted& noted) {
        return std::none_of(wanted.begin(), wanted.end(), same(noted.pipe, noted.fault));
    });
    for (Fault& fault : wanted) {
        const auto known_so = same(fault.pipe, fault.fault);
        const std::vector<Fault>& known = run_.record().of(fault.pipe).faults;
        if (std::any_of(faults_.begin(), faults_.end(), known_so) ||
            std::any_of(known.begin(), known.end(), known_so))
            continue;
        Noted noted{fault.pipe, fault.fault, 0};
        noted.serial = run_.note(std::move(fault));
        faults_.push_back(std::move(noted));
    }
}

// What the technician, or the work, has said of a pipe since stands.
void SurveyKeeper::propose(const SurveyedStop& survey, const std::vector<Finding>& findings) {
    std::vector<PipeId> wanted;
    std::set<PipeId> in_tune;
    if (why_not_kept(survey.result).empty()) {
        for (const SurveyReading& reading : survey.result.readings)
            if (worth_keeping(reading)) in_tune.insert(reading.pipe.id);
        for (const Finding& finding : findings)
            if (finding.kind == FindingKind::out_of_tune) wanted.push_back(finding.pipe->id);
        for (const PipeId& pipe : wanted)
            in_tune.erase(pipe);
    }
    withdraw_if(proposed_, [&](const Noted& noted) {
        return std::find(wanted.begin(), wanted.end(), noted.pipe) == wanted.end();
    });
    // An earlier survey of this visit may have proposed what is in tune now.
    std::vector<std::uint64_t> outdated;
    const auto undone = withdrawn_in(run_.record().entries());
    for (const BookEntry& entry : run_.record().entries()) {
        const auto* change = std::get_if<ListChange>(&entry.matter);
        if (change != nullptr && change->state == ListState::proposed &&
            !undone.contains(entry.serial) && in_tune.contains(change->pipe))
            outdated.push_back(entry.serial);
    }
    for (const std::uint64_t serial : outdated)
        run_.note(Withdrawal{serial});
    for (const PipeId& pipe : wanted) {
        const bool known = std::any_of(proposed_.begin(), proposed_.end(),
                                       [&](const Noted& noted) { return noted.pipe == pipe; });
        if (known || run_.record().of(pipe).list) continue;
        proposed_.push_back({pipe, {}, run_.note(ListChange{pipe, ListState::proposed})});
    }
}

void SurveyKeeper::withdraw_if(std::vector<Noted>& noted,
                               const std::function<bool(const Noted&)>& outdated) {
    const auto undone = withdrawn_in(run_.record().entries());
    std::erase_if(noted, [&](const Noted& one) {
        if (!outdated(one)) return false;
        if (!undone.contains(one.serial)) run_.note(Withdrawal{one.serial});
        return true;
    });
}

}  // namespace rankwright::visit
