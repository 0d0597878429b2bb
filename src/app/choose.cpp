#include "app/choose.h"

#include "app/book_desk.h"
#include "app/chamber.h"
#include "app/last_visit.h"
#include "app/window.h"
#include "capture/inputs.h"
#include "storage/instrument_file.h"
#include "storage/tuning_book.h"

#include <algorithm>
#include <filesystem>
#include <system_error>
#include <vector>

namespace rankwright::app {

namespace {

struct Found {
    overlay::Choices choices;
    std::vector<std::string> organ_files;  ///< beside choices.instruments
    std::vector<ChamberOptions> inputs;    ///< beside choices.inputs
};

/// Instrument files of the folder one works in, of its `instruments`, and of the project.
std::vector<std::filesystem::path> instrument_files() {
    namespace fs = std::filesystem;
    std::vector<fs::path> files;
    for (const fs::path& folder :
         {fs::path("."), fs::path("instruments"), fs::path(RANKWRIGHT_INSTRUMENTS)}) {
        std::error_code error;
        for (const auto& entry : fs::directory_iterator(folder, error)) {
            if (entry.path().extension() != ".toml") continue;
            const fs::path file = fs::weakly_canonical(entry.path(), error);
            if (std::find(files.begin(), files.end(), file) == files.end()) files.push_back(file);
        }
    }
    std::sort(files.begin(), files.end());
    return files;
}

void find_instruments(Found& found) {
    for (const auto& file : instrument_files()) {
        const auto loaded = storage::load_instrument(file);
        if (loaded) {
            found.choices.instruments.push_back({loaded->name, file.string()});
            found.organ_files.push_back(file.string());
        } else {
            found.choices.trouble =
                file.filename().string() + " has mistakes; `rankwright check` names them";
        }
    }
    if (found.organ_files.empty())
        found.choices.trouble =
            "no instrument file (*.toml) here or in instruments: start the program "
            "in their folder, or with `rankwright chamber FILE`";
}

void find_inputs(Found& found) {
    const auto add = [&](std::string name, std::string detail, ChamberOptions options) {
        found.choices.inputs.push_back({std::move(name), std::move(detail)});
        found.inputs.push_back(std::move(options));
    };
    ChamberOptions options;
    if (const auto inputs = capture::list_inputs())
        for (const capture::Input& input : *inputs) {
            options.device = input.name;
            add(input.name, input.is_default ? "the computer's default input" : "", options);
        }
    options = {};
    options.input = "simulated";
    add("Simulated chamber", "pipes that sound without an organ, for practice", options);
}

ExitCode work_at_file(const std::string& file, ChamberOptions options,
                      std::unique_ptr<Window> window) {
    options.organ_file = file;
    const auto instrument = load_instrument_or_report(file);
    if (!instrument) return kBadInput;
    const auto stop = choose_stop(*instrument, options.stop);
    if (!stop) return report(stop.error());
    return work_at(*instrument, *stop, options, std::move(window));
}

}  // namespace

ExitCode choose_and_work() {
    Found found;
    find_instruments(found);
    find_inputs(found);
    const auto last = load_last_visit();
    if (last) found.choices.last_visit = last->organ + ", " + last->stop_words;
    auto window = Window::open({});
    if (!window) return report(window.error());
    const auto choice = [&] {
        BookDesk desk(storage::usual_book());
        return (*window)->choose(found.choices, [&](const auto& asked) {
            for (const visit::CareForBook& deed : asked)
                desk.ask(deed);
            return desk.view();
        });
    }();
    if (!choice) return kDone;
    if (choice->go_on && last) {
        ChamberOptions options;
        options.input = last->input;
        options.device = last->device;
        options.stop = last->stop;
        return work_at_file(last->organ_file, options, std::move(*window));
    }
    if (choice->instrument >= found.organ_files.size() || choice->input >= found.inputs.size())
        return report({ErrorKind::not_found, found.choices.trouble, std::nullopt});
    return work_at_file(found.organ_files[choice->instrument], found.inputs[choice->input],
                        std::move(*window));
}

}  // namespace rankwright::app
