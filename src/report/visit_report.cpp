#include "report/visit_report.h"

#include "core/text.h"
#include "report/advice.h"
#include "report/pipe_words.h"
#include "visit/record.h"

#include <algorithm>
#include <cmath>
#include <map>
#include <set>
#include <tuple>
#include <utility>

namespace rankwright::report {

namespace {

using visit::ListState;

bool within(const std::optional<Cents>& deviation, Cents tolerance) {
    return deviation && std::abs(deviation->value()) <= tolerance.value();
}

bool stands(const visit::PipeRecord& known) {
    if (!known.after) return false;
    if (known.list == ListState::done || known.list == ListState::hear_again) return true;
    return known.after->settled && known.list != ListState::open;
}

/// Empty when there is nothing to say of a pipe.
std::optional<Outcome> outcome_of(const visit::Record& record, const PipeId& pipe, bool heard) {
    const visit::PipeRecord& known = record.of(pipe);
    if (stands(known))
        return visit::reference_moved_since(record, pipe) ? Outcome::open : Outcome::tuned;
    if (known.out_of_reach) return Outcome::out_of_reach;
    if (!known.faults.empty()) return Outcome::faulty;
    if (known.after || known.list == ListState::open) return Outcome::open;
    if (heard) return Outcome::heard;
    if (known.list == ListState::proposed || known.list == ListState::wanted)
        return Outcome::not_heard;
    return std::nullopt;
}

void list_day(const std::vector<visit::BookEntry>& entries, const PipeWords& words,
              VisitReport& report) {
    for (const visit::BookEntry& entry : entries) {
        if (const auto* air = std::get_if<visit::AirReading>(&entry.matter))
            report.air.push_back(
                {entry.at, words.thermometer(air->place), air->air, air->humidity});
        if (const auto* pitch = std::get_if<visit::PitchReading>(&entry.matter))
            report.pitch.push_back({entry.at, pitch->a, pitch->measured});
        if (const auto* remark = std::get_if<visit::Remark>(&entry.matter))
            report.asked.push_back({entry.at, words.place(remark->stop, remark->key), remark->words,
                                    remark->complaint});
    }
}

PipeLine line_of(const PipeId& pipe, const visit::PipeRecord& known,
                 const visit::VisitReadings& readings, const PipeWords& words) {
    PipeLine line;
    line.pipe = pipe;
    line.note = words.note(pipe);
    if (const auto found = readings.found.find(pipe); found != readings.found.end()) {
        line.before = found->second.reading.deviation;
        line.tolerance = visit::tolerance_of(found->second.reading);
    }
    if (known.after) {
        line.after = known.after->deviation;
        line.tolerance = visit::tolerance_of(*known.after);
    }
    const organ::Pipe* made = words.find(pipe);
    const bool reed = made != nullptr && made->make.reed();
    (reed ? line.creeps : line.warm) = known.list == ListState::hear_again;
    for (const visit::Fault& fault : known.faults)
        line.faults.push_back(fault.words.empty() ? fault.fault : fault.fault + ": " + fault.words);
    return line;
}

// The stop from which most of a rank's pipes were tuned.
std::string tuned_from(const StopId& own, const std::vector<PipeLine>& pipes,
                       const visit::Record& record, const PipeWords& words) {
    std::map<StopId, int> times;
    for (const PipeLine& line : pipes)
        if (const auto& after = record.of(line.pipe).after; after && after->reference)
            ++times[{after->reference->division, after->reference->stop}];
    const auto most =
        std::max_element(times.begin(), times.end(),
                         [](const auto& a, const auto& b) { return a.second < b.second; });
    if (most == times.end()) return {};
    return most->first == own ? "itself, in octaves" : words.stop(most->first);
}

// A file that says nothing of a key leaves its number.
std::vector<KeyMark> marks_of(const RankLines& rank, const PipeWords& words) {
    std::vector<KeyMark> marks;
    for (int key = rank.first_key; key <= rank.last_key && key < rank.first_key + 200; ++key) {
        PipeId pipe = rank.pipes.front().pipe;
        pipe.key = key;
        const organ::Pipe* known = words.find(pipe);
        if (known != nullptr ? known->midi % 12 == 0 : key % 12 == 1)
            marks.push_back({key, words.note(pipe)});
    }
    return marks;
}

void list_ranks(const Matter& matter, const visit::Record& record,
                const visit::VisitReadings& readings, const PipeWords& words, VisitReport& report) {
    std::set<PipeId> known;
    for (const visit::BookEntry& entry : visit::counted(matter.entries))
        if (const auto pipe = visit::pipe_of(entry.matter)) known.insert(*pipe);
    std::map<std::tuple<std::size_t, StopId, int>, RankLines> ranks;
    for (const PipeId& pipe : known) {
        const bool heard = readings.found.count(pipe) > 0;
        const auto outcome = outcome_of(record, pipe, heard);
        if (!outcome) continue;
        const StopId stop{pipe.division, pipe.stop};
        PipeLine line = line_of(pipe, record.of(pipe), readings, words);
        line.outcome = *outcome;
        line.warm = line.warm && line.outcome == Outcome::tuned;
        line.creeps = line.creeps && line.outcome == Outcome::tuned;
        line.unstable = line.outcome == Outcome::open && visit::does_not_stay(record.of(line.pipe));
        ranks[{words.order(stop), stop, pipe.row}].pipes.push_back(std::move(line));
    }
    const auto drifts = visit::drift_between(matter.earlier, readings.found, matter.instrument);
    for (auto& [key, rank] : ranks) {
        const auto& [place, stop, row] = key;
        rank.name = words.rank(stop, row);
        rank.first_key = rank.pipes.front().pipe.key;
        rank.last_key = rank.pipes.back().pipe.key;
        if (const organ::Stop* file = words.find(stop)) {
            rank.first_key = std::min(rank.first_key, file->first_key);
            rank.last_key = std::max(rank.last_key, file->last_key + file->extra_pipes);
        }
        rank.marks = marks_of(rank, words);
        rank.tuned_from = tuned_from(stop, rank.pipes, record, words);
        for (const visit::RankDrift& drift : drifts)
            if (drift.stop == stop && drift.row == row) rank.drift = drift;
        report.ranks.push_back(std::move(rank));
    }
}

void add_reason(std::vector<Reason>& reasons, const std::string& rank, const std::string& why,
                std::string pipe) {
    const auto same = std::find_if(reasons.begin(), reasons.end(), [&](const Reason& one) {
        return one.rank == rank && one.why == why;
    });
    if (same == reasons.end())
        reasons.push_back({rank, why, {std::move(pipe)}});
    else
        same->pipes.push_back(std::move(pipe));
}

void list_reasons(VisitReport& report) {
    for (const RankLines& rank : report.ranks) {
        for (const PipeLine& line : rank.pipes) {
            const auto& as_left = line.after ? line.after : line.before;
            const std::string stood =
                as_left ? line.note + " (" + off_words(*as_left) + ")" : line.note;
            if (line.outcome == Outcome::open)
                add_reason(report.not_tuned, rank.name,
                           "left open: it had not settled within its tolerance", stood);
            if (line.outcome == Outcome::out_of_reach)
                add_reason(report.not_tuned, rank.name, "out of reach", stood);
            if (line.outcome == Outcome::not_heard)
                add_reason(report.not_heard, rank.name, "on the list, but never heard", line.note);
            auto& faults = line.outcome == Outcome::tuned ? report.faults : report.not_tuned;
            for (const std::string& fault : line.faults)
                add_reason(faults, rank.name, fault, line.note);
        }
    }
}

bool found_off(const PipeLine& line) {
    return line.outcome == Outcome::heard && !within(line.before, line.tolerance);
}

// There may be hundreds: those that matter most come first.
void list_found_off(VisitReport& report) {
    for (const RankLines& rank : report.ranks) {
        std::vector<const PipeLine*> off;
        for (const PipeLine& line : rank.pipes)
            if (found_off(line)) off.push_back(&line);
        const auto far = [](const PipeLine* line) {
            const double cents = line->before ? std::abs(line->before->value()) : 0.0;
            return std::isfinite(cents) ? cents : 0.0;
        };
        std::stable_sort(off.begin(), off.end(),
                         [&](const PipeLine* a, const PipeLine* b) { return far(a) > far(b); });
        for (const PipeLine* line : off)
            add_reason(
                report.found_off, rank.name, "found off its target, and not tuned",
                line->before ? line->note + " (" + off_words(*line->before) + ")" : line->note);
    }
}

std::string summary_of(const VisitReport& report) {
    std::size_t heard = 0, in_tune = 0, stood = 0, open = 0, off = 0, others = 0;
    for (const RankLines& rank : report.ranks) {
        for (const PipeLine& line : rank.pipes) {
            const bool found_so =
                (line.outcome == Outcome::tuned || line.outcome == Outcome::heard) &&
                within(line.before, line.tolerance);
            heard += line.before || line.after ? 1U : 0U;
            stood += found_so ? 1U : 0U;
            off += found_off(line) ? 1U : 0U;
            open += line.outcome == Outcome::open ? 1U : 0U;
            others += line.outcome == Outcome::out_of_reach || line.outcome == Outcome::faulty ||
                              line.outcome == Outcome::not_heard
                          ? 1U
                          : 0U;
        }
    }
    for (const RankLines& rank : report.ranks)
        in_tune += rank.in_tune();
    const auto ranks =
        static_cast<std::size_t>(std::count_if(report.ranks.begin(), report.ranks.end(),
                                               [](const RankLines& rank) { return rank.heard(); }));
    if (ranks == 0 && others == 0) return "No pipe was heard on this visit.";
    std::string words = text_of({count_words(heard, "pipe"), " of ", count_words(ranks, "rank"),
                                 " heard; ", std::to_string(in_tune), " left in tune"});
    if (stood > 0) words += text_of({", of which ", std::to_string(stood), " were found so"});
    if (open > 0) words += text_of({"; ", std::to_string(open), " left open"});
    if (off > 0) words += text_of({"; ", std::to_string(off), " found off and not tuned"});
    if (others > 0)
        words += text_of({"; ", std::to_string(others), " out of reach, at fault or not heard"});
    return words + ".";
}

std::string cents_words(Cents cents, const char* nought, const char* above, const char* below) {
    if (!std::isfinite(cents.value())) return "not known";
    const std::string off = decimal(std::abs(cents.value()), 1);
    if (off == "0.0") return nought;
    return text_of({off, off == "1.0" ? " cent " : " cents ", cents > Cents{0.0} ? above : below});
}

}  // namespace

std::size_t RankLines::count(Outcome outcome) const {
    return static_cast<std::size_t>(std::count_if(
        pipes.begin(), pipes.end(), [&](const PipeLine& one) { return one.outcome == outcome; }));
}

std::size_t RankLines::in_tune() const {
    return static_cast<std::size_t>(
        std::count_if(pipes.begin(), pipes.end(), [](const PipeLine& one) {
            return one.outcome == Outcome::tuned ||
                   (one.outcome == Outcome::heard && within(one.before, one.tolerance));
        }));
}

bool RankLines::heard() const {
    return std::any_of(pipes.begin(), pipes.end(),
                       [](const PipeLine& one) { return one.before || one.after; });
}

std::string off_words(Cents deviation) {
    return cents_words(deviation, "on its target", "sharp", "flat");
}

std::string drift_words(Cents drift) {
    return cents_words(drift, "where it was", "sharper", "flatter");
}

std::string count_words(std::size_t count, const std::string& one) {
    return std::to_string(count) + " " + one + (count == 1 ? "" : "s");
}

VisitReport compose(const Matter& matter) {
    const PipeWords words(matter.instrument);
    const auto entries = visit::counted(matter.entries);
    const visit::Record record(matter.entries);
    const auto readings = visit::readings_of(matter.visit.id, matter.entries);
    VisitReport report;
    report.visit = matter.visit;
    report.organ = matter.visit.organ_name;
    report.last_entry = matter.entries.empty() ? matter.visit.started : matter.entries.back().at;
    report.instrument_known = matter.instrument != nullptr;
    if (matter.instrument != nullptr) {
        report.organ = matter.instrument->name;
        report.place = matter.instrument->place;
        report.home_a = matter.instrument->a;
        report.home_air = matter.instrument->at;
        report.temperament = matter.instrument->temperament.name;
    }
    list_day(entries, words, report);
    list_ranks(matter, record, readings, words, report);
    list_reasons(report);
    list_found_off(report);
    for (const RankLines& rank : report.ranks)
        if (rank.drift)
            for (const visit::PipeDrift& pipe : rank.drift->pipes)
                report.last_visit = std::max(report.last_visit.value_or(pipe.since), pipe.since);
    report.summary = summary_of(report);
    report.drift = drift_sentences(report);
    report.advice = advice(report, matter, words);
    report.cautions = cautions();
    return report;
}

}  // namespace rankwright::report
