#include "app/report.h"

#include "storage/instrument_file.h"

#include <cstdio>
#include <utility>

namespace rankwright::app {

ExitCode report(const Error& error) {
    std::fprintf(stderr, "rankwright: %s\n", storage::to_line(error).c_str());
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

}  // namespace rankwright::app
