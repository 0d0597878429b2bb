// `rankwright calls`: the sheet for the helper at the console.
#include "app/book_command.h"
#include "app/commands.h"
#include "app/json_output.h"
#include "app/visit_list.h"
#include "organ/tuning_order.h"
#include "report/call_sheet.h"
#include "report/report_page.h"
#include "storage/book_json.h"
#include "storage/durable_file.h"
#include "visit/wall_time.h"

#include <cstdio>
#include <iostream>
#include <memory>

namespace rankwright::app {

namespace {

struct CallsOptions {
    std::string organ;
    BookOptions book;
    std::vector<std::string> stops;
    bool alone = false;
    std::string file;
};

/// Of the stops that are named, every pipe; else those on the list. In the order of the work.
Result<std::vector<organ::Pipe>> pipes_to_call(const CallsOptions& options,
                                               const organ::Instrument& instrument) {
    if (options.stops.empty()) {
        auto found = list_in(book_file(options.book), instrument);
        if (!found) return tl::unexpected(found.error());
        return visit::for_the_feet(instrument, found->list);
    }
    std::vector<organ::Pipe> pipes;
    for (const std::string& name : options.stops) {
        const auto stop = organ::find_stop(instrument, name);
        if (!stop) return tl::unexpected(stop.error());
        for (organ::Pipe& pipe : organ::pipes(*stop))
            pipes.push_back(std::move(pipe));
    }
    return organ::order_of_work(instrument, std::move(pipes));
}

Json key_json(const visit::Call::Key& key) {
    return {{"division", key.division}, {"note", key.note}, {"key", key.key}};
}

Json sheet_json(const report::CallSheet& sheet) {
    Json json{{"organ", sheet.organ}, {"calls", Json::array()}};
    for (const report::CallGroup& group : sheet.groups)
        for (const report::SheetCall& one : group.calls) {
            Json call{{"number", one.number}, {"stops", group.stops}};
            call.update(key_json(one.call.key));
            call["also"] = one.call.also ? key_json(*one.call.also) : Json(nullptr);
            call["pipes"] = Json::array();
            for (const PipeId& pipe : one.pipes)
                call["pipes"].push_back(to_string(pipe));
            json["calls"].push_back(std::move(call));
        }
    return json;
}

ExitCode write_calls(const CallsOptions& options) {
    const auto instrument = load_instrument_or_report(options.organ);
    if (!instrument) return kBadInput;
    const auto pipes = pipes_to_call(options, *instrument);
    if (!pipes) return report(pipes.error());
    report::CallSheet sheet = report::call_sheet(*instrument, *pipes, options.alone);
    sheet.date = report::local_date(visit::wall_now());
    if (options.book.json) std::cout << storage::to_line(sheet_json(sheet)) << "\n";
    if (sheet.groups.empty())
        return report({ErrorKind::nothing_heard,
                       "nothing is on the list to be called" + where_no_book(options.book) +
                           ": `rankwright list` shows and changes it; --stop calls every pipe of "
                           "a stop",
                       std::nullopt});
    if (options.file == "-") {
        std::cout << report::to_html(sheet);
    } else if (!options.file.empty()) {
        if (const auto written = storage::write_durably(options.file, report::to_html(sheet));
            !written)
            return report(written.error());
        if (!options.book.json) std::printf("%s\n", options.file.c_str());
    } else if (!options.book.json) {
        std::fputs(report::to_text(sheet).c_str(), stdout);
    }
    return kDone;
}

}  // namespace

void add_calls_command(CLI::App& app, ExitCode& code) {
    auto options = std::make_shared<CallsOptions>();
    CLI::App* command = app.add_subcommand(
        "calls", "What the helper at the console is asked for, key after key, in large print");
    command->add_option("ORGAN", options->organ, "an instrument file (TOML)")->required();
    add_book_options(*command, options->book);
    command->add_option(
        "--stop", options->stops,
        "every pipe of this stop, listed or not; may be repeated (else the list's)");
    command->add_flag("--alone", options->alone, "each pipe without its reference");
    command->add_option("-o,--output", options->file,
                        "write a page for printing, FILE.html (- for stdout)");
    command->callback([options, &code] { code = write_calls(*options); });
}

}  // namespace rankwright::app
