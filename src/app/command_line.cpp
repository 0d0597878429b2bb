#include "app/command_line.h"

#include "app/choose.h"
#include "app/commands.h"

#include <cstdio>
#include <exception>

namespace rankwright::app {

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
    add_mixture_command(app, code);
    add_targets_command(app, code);
    add_survey_command(app, code);
    add_check_command(app, code);
    add_inputs_command(app, code);
    add_new_command(app, code);
    add_list_command(app, code);
    add_calls_command(app, code);
    add_report_command(app, code);
    add_book_command(app, code);
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
