// `rankwright check`: every mistake of an instrument file.
#include "app/commands.h"
#include "app/json_output.h"
#include "organ/instrument.h"
#include "storage/instrument_file.h"

#include <cstdio>
#include <iostream>
#include <memory>

namespace rankwright::app {

namespace {

ExitCode check(const std::string& path, bool json) {
    const auto loaded = storage::load_instrument(path);
    if (json) {
        Json out{{"errors", Json::array()}};
        if (!loaded)
            for (const Error& error : loaded.error())
                out["errors"].push_back(
                    {{"line", error.where ? Json(error.where->line) : Json()},
                     {"column", error.where ? Json(error.where->column) : Json()},
                     {"message", error.message}});
        std::cout << out.dump() << "\n";
    }
    if (!loaded) {
        if (!json)
            for (const Error& error : loaded.error())
                report(error);
        return kBadInput;
    }
    if (!json) {
        std::size_t stops = 0;
        for (const organ::Division& division : loaded->divisions)
            stops += division.stops.size();
        std::printf("%s: no mistakes found; %zu divisions, %zu stops, %zu pipes\n",
                    loaded->name.c_str(), loaded->divisions.size(), stops,
                    organ::pipes(*loaded).size());
    }
    return kDone;
}

}  // namespace

void add_check_command(CLI::App& app, ExitCode& code) {
    struct Options {
        std::string organ;
        bool json = false;
    };
    auto options = std::make_shared<Options>();
    CLI::App* command = app.add_subcommand("check", "Find the mistakes of an instrument file");
    command->add_option("ORGAN", options->organ, "an instrument file (TOML)")->required();
    command->add_flag("--json", options->json, "one JSON object");
    command->callback([options, &code] { code = check(options->organ, options->json); });
}

}  // namespace rankwright::app
