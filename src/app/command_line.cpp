#include "app/command_line.h"

#include "app/choose.h"
#include "app/commands.h"
#include "storage/instrument_file.h"

#include <cstdio>
#include <exception>

namespace rankwright::app {

ExitCode report(const Error& error) {
    std::string place;
    if (error.where && !error.where->file.empty()) {
        place = error.where->file;
        if (error.where->line > 0)
            place +=
                ":" + std::to_string(error.where->line) + ":" + std::to_string(error.where->column);
        place += ": ";
    }
    std::fprintf(stderr, "rankwright: %s%s\n", place.c_str(), error.message.c_str());
    return error.kind == ErrorKind::nothing_heard || error.kind == ErrorKind::device ? kNothingFound
                                                                                     : kBadInput;
}

std::optional<organ::Instrument> load_instrument_or_report(const std::string& path) {
    auto loaded = storage::load_instrument(path);
    if (loaded) return std::move(*loaded);
    for (const Error& error : loaded.error())
        report(error);
    return std::nullopt;
}

Error bad_temperature(const std::string& text) {
    return {ErrorKind::bad_input, "\"" + text + "\" is no temperature: write it as 21.3C or 70.4F",
            std::nullopt};
}

int run(int argc, const char* const* argv) {
    CLI::App app{
        "Rankwright: hears organ pipes, says how far they are from their targets and which "
        "way to move them.",
        "rankwright"};
    app.set_version_flag("--version", "rankwright " RANKWRIGHT_VERSION);
    app.require_subcommand(0, 1);
    ExitCode code = kDone;
    app.callback([&] {
        if (app.get_subcommands().empty()) code = choose_and_work();
    });
    add_chamber_command(app, code);
    add_listen_command(app, code);
    add_beats_command(app, code);
    add_targets_command(app, code);
    add_check_command(app, code);
    add_inputs_command(app, code);
    add_new_command(app, code);
    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        return app.exit(error) == 0 ? kDone : kBadInput;
    } catch (const std::exception& error) {
        // A library's last word, such as no memory left: say it rather than die with a trace.
        std::fprintf(stderr, "rankwright: stopped: %s\n", error.what());
        return kBadInput;
    }
    return code;
}

}  // namespace rankwright::app
