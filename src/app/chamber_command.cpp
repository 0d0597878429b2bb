// `rankwright chamber`: the window at work on one stop.
#include "app/chamber.h"
#include "app/commands.h"
#include "organ/air.h"

#include <filesystem>
#include <memory>

namespace rankwright::app {

namespace {

struct ChamberArguments {
    std::string organ;
    std::string temperature;
    std::optional<double> pitch;
    std::optional<double> lasting;
    ChamberOptions options;
};

ExitCode open_chamber(ChamberArguments& arguments) {
    ChamberOptions& options = arguments.options;
    if (!arguments.temperature.empty()) {
        options.day.temperature = organ::parse_temperature(arguments.temperature);
        if (!options.day.temperature) return report(bad_temperature(arguments.temperature));
    }
    if (arguments.pitch) options.day.pitch = Hertz{*arguments.pitch};
    if (arguments.lasting) options.lasting = Seconds{*arguments.lasting};
    const auto instrument = load_instrument_or_report(arguments.organ);
    if (!instrument) return kBadInput;
    const auto stop = choose_stop(*instrument, options.stop);
    if (!stop) return report(stop.error());
    options.organ_file = std::filesystem::absolute(arguments.organ).string();
    return work_at(*instrument, *stop, options);
}

}  // namespace

void add_chamber_command(CLI::App& app, ExitCode& code) {
    auto arguments = std::make_shared<ChamberArguments>();
    ChamberOptions& options = arguments->options;
    CLI::App* command = app.add_subcommand("chamber", "Open the window at work on a stop");
    command->add_option("ORGAN", arguments->organ, "an instrument file (TOML)")->required();
    command->add_option("--input", options.input, "mic, simulated, or a WAV or FLAC recording")
        ->capture_default_str();
    command->add_option("--stop", options.stop, "Stop or Division/Stop");
    command
        ->add_option_function<std::string>(
            "--job",
            [&options](const std::string& job) {
                options.run.job =
                    job == "single" ? visit::Job::to_target : visit::Job::from_reference;
            },
            "single: each pipe alone to its target; reference: by beats from the pipe that the "
            "file names (default; single where it names none)")
        ->check(CLI::IsMember({"single", "reference"}));
    command->add_flag("--compensate", options.run.compensate,
                      "put pipes that are warmer or colder than the reference, and reeds, where "
                      "they will agree at the organ's own temperature");
    command->add_option("--device", options.device, "an input of `rankwright inputs`");
    command->add_option("--channel", options.channel, "this channel of the recording, from 1")
        ->check(CLI::PositiveNumber);
    command->add_option("--temperature", arguments->temperature, "at the pipes: 21.3C or 70.4F");
    command->add_option("--pitch", arguments->pitch, "the A that the organ stands at today, in Hz")
        ->check(CLI::Range(300.0, 600.0));
    command->add_option("--seed", options.seed, "simulated: how the pipes are out of tune");
    command
        ->add_option_function<std::string>(
            "--technician",
            [&options](const std::string& who) {
                options.simulated_technician = who == "simulated";
            },
            "simulated: one who sees only the screen does the work")
        ->check(CLI::IsMember({"simulated", "you"}));
    command->add_option("--for", arguments->lasting, "leave after so many seconds")
        ->check(CLI::PositiveNumber);
    command->add_option("--screenshot", options.screenshot,
                        "before leaving, save the window as PNG");
    command->add_flag("--print", options.print, "print readings on stdout as they come");
    command->add_flag("--json", options.json, "print them as JSON, one object a line");
    command->callback([arguments, &code] { code = open_chamber(*arguments); });
}

}  // namespace rankwright::app
