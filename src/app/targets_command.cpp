// `rankwright targets`: the target of every pipe.
#include "app/commands.h"
#include "app/json_output.h"
#include "organ/air.h"
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
    std::string temperature;
    std::optional<double> pitch;
    bool json = false;
};

ExitCode show_targets(const TargetsOptions& options) {
    organ::Day day;
    if (!options.temperature.empty()) {
        day.temperature = organ::parse_temperature(options.temperature);
        if (!day.temperature) return report(bad_temperature(options.temperature));
    }
    if (options.pitch) day.pitch = Hertz{*options.pitch};
    const auto instrument = load_instrument_or_report(options.organ);
    if (!instrument) return kBadInput;

    std::vector<organ::Pipe> pipes;
    if (options.stop.empty()) {
        pipes = organ::pipes(*instrument);
    } else {
        const auto stop = organ::find_stop(*instrument, options.stop);
        if (!stop) return report(stop.error());
        pipes = organ::pipes(*stop);
    }

    Json out;
    out["organ"] = instrument->name;
    out["pitch_hz"] = organ::pitch_of(*instrument, day).value();
    out["temperature_c"] = or_null(day.temperature);
    out["pipes"] = Json::array();
    std::string heading;
    if (!options.json)
        std::printf("%s: A %.2f Hz\n", instrument->name.c_str(),
                    organ::pitch_of(*instrument, day).value());
    for (const organ::Pipe& pipe : pipes) {
        const Hertz target = organ::target(*instrument, pipe, day);
        const Cents from_equal = organ::cents_from_equal(*instrument, pipe, day);
        if (options.json) {
            out["pipes"].push_back({{"id", to_string(pipe.id)},
                                    {"division", pipe.division},
                                    {"stop", pipe.stop},
                                    {"row", pipe.id.row},
                                    {"key", pipe.key},
                                    {"midi", pipe.midi},
                                    {"note", pipe.note},
                                    {"hz", target.value()},
                                    {"cents_from_equal", from_equal.value()}});
            continue;
        }
        if (const std::string now = pipe.division + " · " + pipe.stop; now != heading)
            std::printf("\n%s\n", (heading = now).c_str());
        std::printf("%4d  %-18s %s%11.3f Hz  %+8.3f cents from equal\n", pipe.key,
                    pipe.note.c_str(),
                    pipe.id.row > 1 ? ("row " + std::to_string(pipe.id.row) + "  ").c_str() : "",
                    target.value(), from_equal.value());
    }
    if (options.json) std::cout << out.dump() << "\n";
    return kDone;
}

}  // namespace

void add_targets_command(CLI::App& app, ExitCode& code) {
    auto options = std::make_shared<TargetsOptions>();
    CLI::App* command = app.add_subcommand("targets", "Say the target of every pipe");
    command->add_option("ORGAN", options->organ, "an instrument file (TOML)")->required();
    command->add_option("--stop", options->stop, "only this stop: Stop or Division/Stop");
    command->add_option("--temperature", options->temperature, "at the pipes: 21.3C or 70.4F");
    command->add_option("--pitch", options->pitch, "the A that the organ stands at today, in Hz")
        ->check(CLI::Range(300.0, 600.0));
    command->add_flag("--json", options->json, "one JSON object");
    command->callback([options, &code] { code = show_targets(*options); });
}

}  // namespace rankwright::app
