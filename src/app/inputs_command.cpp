// `rankwright inputs`: the sound inputs.
#include "app/commands.h"
#include "app/json_output.h"
#include "capture/inputs.h"

#include <cstdio>
#include <iostream>
#include <memory>

namespace rankwright::app {

namespace {

ExitCode list_inputs(bool json) {
    const auto inputs = capture::list_inputs();
    if (!inputs) {
        if (json) std::cout << Json{{"inputs", Json::array()}}.dump() << "\n";
        return report(inputs.error());
    }
    if (json) {
        Json out{{"inputs", Json::array()}};
        for (const capture::Input& input : *inputs)
            out["inputs"].push_back({{"index", input.index},
                                     {"name", input.name},
                                     {"channels", input.channels},
                                     {"rate_hz", input.default_rate.value()},
                                     {"default", input.is_default}});
        std::cout << out.dump() << "\n";
    } else {
        for (const capture::Input& input : *inputs)
            std::printf("%3d  %s  (%d channel%s, %.0f Hz)%s\n", input.index, input.name.c_str(),
                        input.channels, input.channels == 1 ? "" : "s", input.default_rate.value(),
                        input.is_default ? "  the default" : "");
    }
    if (inputs->empty())
        return report({ErrorKind::nothing_heard,
                       "no sound input is there: plug in a microphone, or work from a recording",
                       std::nullopt});
    return kDone;
}

}  // namespace

void add_inputs_command(CLI::App& app, ExitCode& code) {
    auto json = std::make_shared<bool>(false);
    CLI::App* command = app.add_subcommand("inputs", "List the sound inputs");
    command->add_flag("--json", *json, "one JSON object");
    command->callback([json, &code] { code = list_inputs(*json); });
}

}  // namespace rankwright::app
