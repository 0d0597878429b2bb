// `rankwright chamber`: the window at work on one stop.
#include "app/bearings_output.h"
#include "app/chamber.h"
#include "app/commands.h"
#include "app/day_options.h"
#include "app/number_checks.h"
#include "organ/tuning_order.h"

#include <algorithm>
#include <filesystem>
#include <memory>

namespace rankwright::app {

namespace {

struct ChamberArguments {
    std::string organ;
    DayOptions day;
    std::optional<double> lasting;
    ChamberOptions options;
};

/// Why the bearings can't be set on a stop; empty when they can.
std::optional<Error> bearings_trouble(const organ::Instrument& instrument,
                                      const organ::StopRef& stop) {
    if (const auto steps = bearings_of(instrument, {}); !steps) return steps.error();
    const organ::Bearings& bearings = *instrument.bearings;
    if (stop.division->id == bearings.division && stop.stop->id == bearings.stop)
        return std::nullopt;
    return Error{ErrorKind::bad_input,
                 "the bearings are set on " + bearings.division + "/" + bearings.stop +
                     ", as the file says: leave out --stop",
                 std::nullopt};
}

/// The stop named; without a name the first mixture. Fails for a stop of a single rank.
Result<organ::StopRef> choose_mixture(const organ::Instrument& instrument,
                                      const std::string& name) {
    if (!name.empty()) {
        auto stop = choose_stop(instrument, name);
        if (!stop || stop->stop->mixture()) return stop;
        return fail(ErrorKind::bad_input, stop->stop->name +
                                              " is no mixture: choose one with --stop, or leave "
                                              "out --job mixture");
    }
    for (const organ::Division& division : instrument.divisions)
        for (const organ::Stop& stop : division.stops)
            if (stop.mixture()) return organ::StopRef{&division, &stop, &instrument};
    return fail(ErrorKind::bad_input, "this instrument has no mixture: leave out --job mixture");
}

ExitCode open_chamber(ChamberArguments& arguments) {
    ChamberOptions& options = arguments.options;
    if (arguments.lasting) options.lasting = Seconds{*arguments.lasting};
    const auto instrument = load_instrument_or_report(arguments.organ);
    if (!instrument) return kBadInput;
    const auto day = arguments.day.day_at(*instrument);
    if (!day) return report(day.error());
    options.day = *day;
    if (options.stops.size() == 1 && options.stops.front() != "all") {
        options.stop = options.stops.front();
    } else if (!options.stops.empty()) {
        auto stops = stops_to_work_at(*instrument, options.stops);
        if (!stops) return report(stops.error());
        options.run.stops = std::move(*stops);
        for (const organ::StopRef& ref : organ::tuning_order(*instrument)) {
            const StopId id{ref.division->id, ref.stop->id};
            const auto& wanted = options.run.stops;
            if (std::find(wanted.begin(), wanted.end(), id) == wanted.end()) continue;
            options.stop = id.division + "/" + id.stop;
            break;
        }
    }
    const auto stop = options.run.job == visit::Job::mixture
                          ? choose_mixture(*instrument, options.stop)
                          : choose_stop(*instrument, options.stop);
    if (!stop) return report(stop.error());
    if (options.run.job == visit::Job::bearings) {
        if (const auto bad = bearings_trouble(*instrument, *stop)) return report(*bad);
    }
    if (options.run.job == visit::Job::survey && stop->stop->mixture())
        return report({ErrorKind::bad_input,
                       stop->stop->name +
                           " is a mixture: hear it with --job mixture, or record one row, the "
                           "others muted, for `rankwright survey --row`",
                       std::nullopt});
    if (options.run.only_listed && options.run.job == visit::Job::survey)
        return report({ErrorKind::bad_input,
                       "a survey hears every pipe of a stop, whatever is on the list: leave out "
                       "--list or --job survey",
                       std::nullopt});
    if (options.run.only_listed && options.run.job == visit::Job::bearings)
        return report({ErrorKind::bad_input,
                       "the bearings are set note from note, whatever is on the list: leave out "
                       "--list or --job bearings",
                       std::nullopt});
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
    command->add_option("--stop", options.stops,
                        "Stop or Division/Stop; several, or `all`: one after the other, in the "
                        "order in which stops are tuned");
    command
        ->add_option_function<std::string>(
            "--job",
            [&options](const std::string& job) {
                options.run.job = job == "single"     ? visit::Job::to_target
                                  : job == "bearings" ? visit::Job::bearings
                                  : job == "mixture"  ? visit::Job::mixture
                                  : job == "survey"   ? visit::Job::survey
                                                      : visit::Job::from_reference;
            },
            "single: each pipe alone to its target; reference: by beats from the pipe that the "
            "file names (default; single where it names none); bearings: the temperament octave, "
            "note from note by tempered intervals; mixture: each pipe of each key, the others "
            "muted, or the key heard whole; survey: the helper plays the rank through, about two "
            "seconds a key, and nothing is tuned")
        ->check(CLI::IsMember({"single", "reference", "bearings", "mixture", "survey"}));
    command->add_flag("--list", options.run.only_listed,
                      "only the pipes of the work list, over all stops, in the order for the feet; "
                      "mixtures key by key, the others of the key muted");
    command->add_flag("--compensate", options.run.compensate,
                      "put pipes that are warmer or colder than the reference, and reeds, where "
                      "they will agree at the organ's own temperature");
    command->add_option("--device", options.device, "an input of `rankwright inputs`");
    command->add_option("--channel", options.channel, "this channel of the recording, from 1")
        ->check(above_zero());
    arguments->day.add_to(*command);
    command->add_option("--book", options.book,
                        "the tuning book (default: the usual one; of simulated pipes one of their "
                        "own; none for recordings)");
    command->add_flag("--new-visit", options.new_visit,
                      "begin a visit, even if the organ's last one isn't over");
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
        ->check(above_zero());
    command->add_option("--screenshot", options.screenshot,
                        "before leaving, save the window as PNG");
    command->add_flag("--print", options.print, "print readings on stdout as they come");
    command->add_flag("--json", options.json, "print them as JSON, one object a line");
    command->callback([arguments, &code] { code = open_chamber(*arguments); });
}

}  // namespace rankwright::app
