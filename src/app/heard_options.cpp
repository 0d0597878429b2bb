#include "app/heard_options.h"

#include "app/number_checks.h"
#include "app/recorded_input.h"

namespace rankwright::app {

void HeardOptions::add_to(CLI::App& command, const std::string& file_help) {
    command.add_option("FILE", file, file_help + "; without it, the live input");
    command.add_option("--from", from, "begin here, in seconds")->check(not_negative());
    command.add_option("--to", to, "end here, in seconds")->check(not_negative());
    command.add_option("--channel", channel, "this channel alone, from 1")->check(above_zero());
    command.add_option("--device", device, "live: an input of `rankwright inputs`");
    command.add_option("--for", lasting, "live: stop after so many seconds")->check(above_zero());
    command.add_flag("--json", json, "one JSON object; live, one a line");
}

Result<capture::Recording> HeardOptions::recording() const {
    return read_asked(file, channel, from, to);
}

LiveInput HeardOptions::live() const {
    LiveInput input;
    input.device = device;
    input.channel = channel;
    input.lasting = lasting;
    return input;
}

}  // namespace rankwright::app
