#include "app/command_line.h"

#include <CLI/CLI.hpp>

namespace rankwright::app {

int run(int argc, const char* const* argv) {
    CLI::App app{"Rankwright: tunes organ pipes by ear and sum", "rankwright"};
    app.set_version_flag("--version", "rankwright 0.1.0");
    try {
        app.parse(argc, argv);
    } catch (const CLI::ParseError& error) {
        return app.exit(error) == 0 ? 0 : 2;
    }
    return 0;
}

}  // namespace rankwright::app
