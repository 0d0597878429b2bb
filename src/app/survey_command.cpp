// `rankwright survey`: a whole rank played in one recording.
#include "app/columns.h"
#include "app/commands.h"
#include "app/day_options.h"
#include "app/json_output.h"
#include "app/number_checks.h"
#include "app/recorded_input.h"
#include "app/survey_book.h"
#include "organ/note.h"
#include "storage/tuning_book.h"
#include "tuning/survey_recording.h"
#include "visit/findings.h"
#include "visit/survey_words.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <filesystem>
#include <iostream>
#include <map>
#include <memory>
#include <set>
#include <string>
#include <vector>

namespace rankwright::app {

namespace {

struct SurveyOptions {
    std::string organ;
    std::string file;
    std::string stop;
    std::optional<int> row;
    std::optional<int> channel;
    std::optional<double> from, to;
    DayOptions day;
    std::string book;  ///< where to keep it; empty: nowhere, but for `keep`
    bool keep = false;
    bool new_visit = false;
    bool json = false;
};

using LastTime = std::map<PipeId, visit::KeptReading>;

std::optional<Cents> last_cents(const LastTime& last_time, const PipeId& pipe) {
    const auto known = last_time.find(pipe);
    if (known == last_time.end()) return std::nullopt;
    return known->second.deviation;
}

/// The pipes that should be heard: of a mixture, one row.
Result<std::vector<organ::Pipe>> rank_of(const organ::StopRef& stop, std::optional<int> row) {
    std::vector<organ::Pipe> pipes = organ::pipes(stop);
    int rows = 1;
    for (const organ::Pipe& pipe : pipes)
        rows = std::max(rows, pipe.id.row);
    if (rows > 1 && !row)
        return fail(ErrorKind::bad_input,
                    stop.stop->name + " sounds " + std::to_string(rows) +
                        " pipes on a key: mute all rows but one and name it with --row N, or "
                        "hear single keys with `rankwright mixture`");
    if (row && *row > rows)
        return fail(ErrorKind::bad_input, stop.stop->name + " has no row " + std::to_string(*row) +
                                              ": its rows are 1 to " + std::to_string(rows));
    std::erase_if(pipes, [&](const organ::Pipe& pipe) { return pipe.id.row != row.value_or(1); });
    return pipes;
}

/// An unread pitch is only near, and said so by its uncertainty.
Json survey_reading_json(const tuning::SurveyReading& reading, SampleRate rate, Seconds skipped,
                         const LastTime& last_time) {
    const auto seconds = [&](FrameIndex at) {
        return (duration(at - FrameIndex{}, rate) + skipped).count();
    };
    return {{"id", to_string(reading.pipe.id)},
            {"key", reading.pipe.key},
            {"midi", reading.pipe.midi},
            {"note", reading.pipe.note},
            {"from_s", seconds(reading.tone.stood)},
            {"to_s", seconds(reading.tone.to)},
            {"hz", reading.tone.pitch.value()},
            {"target_hz", reading.target.value()},
            {"cents", reading.deviation.value()},
            {"cents_sd", reading.tone.uncertainty.value()},
            {"last_cents", or_null(last_cents(last_time, reading.pipe.id))}};
}

Json finding_json(const visit::Finding& finding, Seconds skipped) {
    Json json{{"kind", visit::word_of(finding.kind)}};
    json["key"] = finding.pipe ? Json(finding.pipe->key) : Json(nullptr);
    json["midi"] = finding.pipe ? Json(finding.pipe->midi) : Json(nullptr);
    json["note"] = finding.pipe ? Json(finding.pipe->note) : Json(nullptr);
    json["at_s"] = finding.at ? Json((*finding.at + skipped).count()) : Json(nullptr);
    json["cents"] = or_null(finding.deviation);
    json["beat_hz"] = or_null(finding.beat);
    json["audibility"] =
        finding.kind == visit::FindingKind::out_of_tune ? Json(finding.audibility) : Json(nullptr);
    json["words"] = finding.words;
    return json;
}

void print_findings(const std::vector<visit::Finding>& findings, std::size_t heard) {
    constexpr std::size_t kByName = 10;
    const visit::ToldSurvey told = visit::told(findings, heard, kByName);
    std::printf(findings.empty() ? "\nNothing to remark.\n" : "\nFindings, the gravest first:\n");
    for (const auto* lines : {&told.whole, &told.pipes})
        for (const std::string& line : *lines)
            std::printf("  %s\n", line.c_str());
    if (told.tuning.empty()) return;
    std::printf("  %s%s\n", told.tuning.c_str(),
                told.worst.size() > 1 ? "; the most audible first:" : ":");
    for (const std::string& line : told.worst)
        std::printf("    %s\n", line.c_str());
    if (told.others > 0)
        std::printf("    and %zu more, less audible (--json names them all)\n", told.others);
}

std::size_t pipes_heard(const tuning::SurveyResult& result) {
    std::set<PipeId> heard;
    for (const tuning::SurveyReading& reading : result.readings)
        heard.insert(reading.pipe.id);
    return heard.size();
}

void print_survey(const visit::SurveyedStop& survey, const std::vector<visit::Finding>& findings,
                  Seconds skipped, const LastTime& last_time) {
    const tuning::SurveyResult& result = survey.result;
    std::printf("%s · %s: %zu readings\n", survey.stop.division->name.c_str(),
                survey.stop.stop->name.c_str(), result.readings.size());
    if (result.pitch_measured)
        std::printf("A %.2f Hz today, ± %.2f cents, as these pipes tell\n", result.pitch->value(),
                    result.pitch_uncertainty.value());
    else if (result.pitch)
        std::printf("A %.2f Hz today, as given\n", result.pitch->value());
    else
        std::printf("A of today isn't known from this rank: say it with --pitch\n");
    std::printf("\n key  note                    from       to          Hz     cents%s\n",
                last_time.empty() ? "" : "          last time");
    for (const tuning::SurveyReading& reading : result.readings) {
        const auto seconds = [&](FrameIndex at) {
            return (duration(at - FrameIndex{}, survey.rate) + skipped).count();
        };
        std::printf("%4d  %s%8.2f %8.2f s %10.3f  %+8.2f ± %.2f", reading.pipe.key,
                    padded(reading.pipe.note, 20).c_str(), seconds(reading.tone.stood),
                    seconds(reading.tone.to), reading.tone.pitch.value(), reading.deviation.value(),
                    reading.tone.uncertainty.value());
        if (const auto last = last_cents(last_time, reading.pipe.id))
            std::printf("  %+8.2f", last->value());
        std::printf("\n");
    }
    print_findings(findings, pipes_heard(result));
}

/// Into the book where one is asked for, or says why not; gives how the pipes stood last time.
Result<LastTime> keep(const SurveyOptions& options, const organ::Instrument& instrument,
                      const visit::SurveyedStop& surveyed,
                      const std::vector<visit::Finding>& findings, const organ::Day& day) {
    if (surveyed.result.readings.empty() || (options.book.empty() && !options.keep))
        return LastTime{};
    const VisitBook::Options book{
        options.book.empty() ? storage::usual_book() : std::filesystem::path(options.book),
        std::filesystem::absolute(options.organ).string(), options.new_visit};
    auto kept = keep_survey(instrument, surveyed, findings, day, book);
    if (!kept) return tl::unexpected(kept.error());
    if (!kept->why_not.empty()) std::fprintf(stderr, "rankwright: %s\n", kept->why_not.c_str());
    return std::move(kept->last_time);
}

ExitCode survey(const SurveyOptions& options) {
    const auto instrument = load_instrument_or_report(options.organ);
    if (!instrument) return kBadInput;
    const auto stop = organ::find_stop(*instrument, options.stop);
    if (!stop) return report(stop.error());
    const auto day = options.day.day_at(*instrument);
    if (!day) return report(day.error());
    auto pipes = rank_of(*stop, options.row);
    if (!pipes) return report(pipes.error());
    const auto recording = read_asked(options.file, options.channel, options.from, options.to);
    if (!recording) return report(recording.error());

    const tuning::SurveyPlan plan{&*instrument, std::move(*pipes), *day};
    const visit::SurveyedStop surveyed{
        *stop,
        tuning::survey_recording(plan, recording->samples, recording->rate, recording->channels),
        recording->rate};
    const auto findings = visit::findings_of(*instrument, surveyed, *day);
    const Seconds skipped = duration(recording->first - FrameIndex{}, recording->rate);
    const auto last_time = keep(options, *instrument, surveyed, findings, *day);
    const LastTime shown = last_time.value_or(LastTime{});
    if (options.json) {
        Json out{{"organ", instrument->name},
                 {"division", stop->division->name},
                 {"stop", stop->stop->name}};
        out["pitch_hz"] = or_null(surveyed.result.pitch);
        out["readings"] = Json::array();
        for (const tuning::SurveyReading& reading : surveyed.result.readings)
            out["readings"].push_back(
                survey_reading_json(reading, recording->rate, skipped, shown));
        out["findings"] = Json::array();
        for (const visit::Finding& finding : findings)
            out["findings"].push_back(finding_json(finding, skipped));
        std::cout << out.dump() << "\n";
    }
    if (surveyed.result.readings.empty())
        return report({ErrorKind::nothing_heard,
                       "no pipe of " + stop->stop->name +
                           " is heard; is it the right recording, and was each key held for a "
                           "second or two?",
                       Place{options.file}});
    if (!options.json) print_survey(surveyed, findings, skipped, shown);
    return last_time ? kDone : report(last_time.error());
}

}  // namespace

void add_survey_command(CLI::App& app, ExitCode& code) {
    auto options = std::make_shared<SurveyOptions>();
    CLI::App* command =
        app.add_subcommand("survey", "Hear a whole rank that was played key after key");
    command->add_option("ORGAN", options->organ, "an instrument file (TOML)")->required();
    command->add_option("FILE", options->file, "a WAV or FLAC recording")->required();
    command->add_option("--stop", options->stop, "the stop that was played: Stop or Division/Stop")
        ->required();
    command->add_option("--row", options->row, "of a mixture: the row that wasn't muted, from 1")
        ->check(above_zero());
    command->add_option("--channel", options->channel, "this channel alone, from 1")
        ->check(above_zero());
    command->add_option("--from", options->from, "begin here, in seconds")->check(not_negative());
    command->add_option("--to", options->to, "end here, in seconds")->check(not_negative());
    options->day.add_to(*command);
    command->add_option("--book", options->book,
                        "keep it in this tuning book, and show last time's figures from there");
    command->add_flag("--keep", options->keep, "the same in the usual tuning book");
    command->add_flag("--new-visit", options->new_visit,
                      "begin a visit, even if the organ's last one isn't over");
    command->add_flag("--json", options->json, "one JSON object");
    command->callback([options, &code] { code = survey(*options); });
}

}  // namespace rankwright::app
