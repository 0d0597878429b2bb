// `rankwright survey`: a whole rank played in one recording.
#include "app/columns.h"
#include "app/commands.h"
#include "app/day_options.h"
#include "app/json_output.h"
#include "app/recorded_input.h"
#include "organ/note.h"
#include "tuning/survey_recording.h"
#include "visit/findings.h"

#include <algorithm>
#include <cstdio>
#include <iostream>
#include <memory>

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
    bool json = false;
};

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
Json reading_json(const tuning::SurveyReading& reading, SampleRate rate, Seconds skipped) {
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
            {"cents_sd", reading.tone.uncertainty.value()}};
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

void print_survey(const visit::SurveyedStop& survey, const std::vector<visit::Finding>& findings,
                  Seconds skipped) {
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
    std::printf("\n key  note                    from       to          Hz     cents\n");
    for (const tuning::SurveyReading& reading : result.readings) {
        const auto seconds = [&](FrameIndex at) {
            return (duration(at - FrameIndex{}, survey.rate) + skipped).count();
        };
        std::printf("%4d  %s%8.2f %8.2f s %10.3f  %+8.2f ± %.2f\n", reading.pipe.key,
                    padded(reading.pipe.note, 20).c_str(), seconds(reading.tone.stood),
                    seconds(reading.tone.to), reading.tone.pitch.value(), reading.deviation.value(),
                    reading.tone.uncertainty.value());
    }
    std::printf(findings.empty() ? "\nNothing to remark.\n" : "\nFindings, the gravest first:\n");
    for (const visit::Finding& finding : findings)
        std::printf("  %s\n", finding.words.c_str());
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
    if (options.json) {
        Json out{{"organ", instrument->name},
                 {"division", stop->division->name},
                 {"stop", stop->stop->name}};
        out["pitch_hz"] = or_null(surveyed.result.pitch);
        out["readings"] = Json::array();
        for (const tuning::SurveyReading& reading : surveyed.result.readings)
            out["readings"].push_back(reading_json(reading, recording->rate, skipped));
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
    if (!options.json) print_survey(surveyed, findings, skipped);
    return kDone;
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
        ->check(CLI::PositiveNumber);
    command->add_option("--channel", options->channel, "this channel alone, from 1")
        ->check(CLI::PositiveNumber);
    command->add_option("--from", options->from, "begin here, in seconds")
        ->check(CLI::NonNegativeNumber);
    command->add_option("--to", options->to, "end here, in seconds")->check(CLI::NonNegativeNumber);
    options->day.add_to(*command);
    command->add_flag("--json", options->json, "one JSON object");
    command->callback([options, &code] { code = survey(*options); });
}

}  // namespace rankwright::app
