// `rankwright targets`: the target of every pipe, and how the bearings beat.
#include "app/bearings_output.h"
#include "app/columns.h"
#include "app/commands.h"
#include "app/day_options.h"
#include "app/json_output.h"
#include "organ/pitch_of_day.h"
#include "organ/target.h"
#include "storage/instrument_file.h"

#include <cstdio>
#include <iostream>
#include <memory>

namespace rankwright::app {

namespace {

struct TargetsOptions {
    std::string organ;
    std::string stop;
    DayOptions day;
    bool bearings = false;
    bool json = false;
};

/// What a pipe should sound today.
struct PipeTarget {
    organ::Pipe pipe;
    Hertz target;
    Cents from_equal;
    std::optional<organ::Compensation> compensation;
};

std::vector<PipeTarget> targets_of(const organ::Instrument& instrument,
                                   const std::vector<organ::Pipe>& pipes, const organ::Day& day) {
    std::vector<PipeTarget> targets;
    targets.reserve(pipes.size());
    for (const organ::Pipe& pipe : pipes)
        targets.push_back({pipe, organ::target(instrument, pipe, day),
                           organ::cents_from_equal(instrument, pipe, day),
                           organ::compensation(instrument, pipe, day)});
    return targets;
}

Json target_json(const PipeTarget& one) {
    const organ::Pipe& pipe = one.pipe;
    Json json{{"id", to_string(pipe.id)},
              {"division", pipe.division},
              {"stop", pipe.stop},
              {"row", pipe.id.row},
              {"key", pipe.key},
              {"midi", pipe.midi},
              {"note", pipe.note},
              {"hz", one.target.value()},
              {"cents_from_equal", one.from_equal.value()}};
    const auto& compensation = one.compensation;
    json["compensated_hz"] =
        compensation ? Json(transpose(one.target, compensation->offset).value()) : Json(nullptr);
    json["cents_at_home"] = compensation ? Json(-compensation->offset.value()) : Json(nullptr);
    return json;
}

void print_targets(const std::vector<PipeTarget>& targets) {
    std::string heading, words;
    for (const PipeTarget& one : targets) {
        const organ::Pipe& pipe = one.pipe;
        if (const std::string now = pipe.division + " · " + pipe.stop; now != heading) {
            std::printf("\n%s\n", (heading = now).c_str());
            words.clear();
        }
        if (one.compensation && one.compensation->words != words)
            std::printf("  %s.\n", (words = one.compensation->words).c_str());
        std::printf("%4d  %s %s%11.3f Hz  %+8.3f cents from equal", pipe.key,
                    padded(pipe.note, 18).c_str(),
                    pipe.id.row > 1 ? ("row " + std::to_string(pipe.id.row) + "  ").c_str() : "",
                    one.target.value(), one.from_equal.value());
        if (one.compensation)
            std::printf("  compensated %.3f Hz",
                        transpose(one.target, one.compensation->offset).value());
        std::printf("\n");
    }
}

ExitCode show_targets(const TargetsOptions& options) {
    const auto instrument = load_instrument_or_report(options.organ);
    if (!instrument) return kBadInput;
    const auto day = options.day.day_at(*instrument);
    if (!day) return report(day.error());

    std::vector<organ::Pipe> pipes;
    if (options.stop.empty()) {
        pipes = organ::pipes(*instrument);
    } else {
        const auto stop = organ::find_stop(*instrument, options.stop);
        if (!stop) return report(stop.error());
        pipes = organ::pipes(*stop);
    }
    std::vector<organ::BearingStep> bearings;
    if (options.bearings) {
        auto steps = bearings_of(*instrument, *day);
        if (!steps) return report(steps.error());
        bearings = std::move(*steps);
    }
    const auto targets = targets_of(*instrument, pipes, *day);
    const Hertz a = organ::pitch_of(*instrument, *day);
    const std::vector<std::string> warnings = organ::thermometer_warnings(*instrument, *day);

    if (options.json) {
        Json out{{"organ", instrument->name}, {"pitch_hz", a.value()}};
        out["temperature_c"] = or_null(day->temperature);
        out["humidity"] = or_null(day->humidity);
        out["warnings"] = warnings;
        out["pipes"] = Json::array();
        for (const PipeTarget& one : targets)
            out["pipes"].push_back(target_json(one));
        if (options.bearings) {
            out["bearings"] = bearings_json(*instrument, bearings, *day);
            out["beat_table"] = beat_table_json(*instrument, *day);
        }
        std::cout << out.dump() << "\n";
        return kDone;
    }
    std::printf("%s: A %.2f Hz\n", instrument->name.c_str(), a.value());
    for (const std::string& warning : warnings)
        std::printf("%s\n", warning.c_str());
    if (options.bearings)
        print_bearings(*instrument, bearings, *day);
    else
        print_targets(targets);
    return kDone;
}

}  // namespace

void add_targets_command(CLI::App& app, ExitCode& code) {
    auto options = std::make_shared<TargetsOptions>();
    CLI::App* command = app.add_subcommand("targets", "Say the target of every pipe");
    command->add_option("ORGAN", options->organ, "an instrument file (TOML)")->required();
    command->add_option("--stop", options->stop, "only this stop: Stop or Division/Stop");
    options->day.add_to(*command);
    command->add_flag("--bearings", options->bearings,
                      "how the intervals of the temperament octave are set, and their beats");
    command->add_flag("--json", options->json, "one JSON object");
    command->callback([options, &code] { code = show_targets(*options); });
}

}  // namespace rankwright::app
