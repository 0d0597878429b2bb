// A whole simulated visit, told pipe by pipe and fault by fault; run by hand.
//   visit_laboratory ORGAN.toml [--seed N] [--every N] [--alone] [--no-faults] [--patience S]
//   [--tells] STOP...
// STOP is "Division/Stop". Ends with 1 when a pipe is falsely kept or a planted fault isn't found.
#include "organ/instrument.h"
#include "storage/instrument_file.h"
#include "whole_visit.h"

#include <cstdio>
#include <ctime>
#include <string>
#include <vector>

#include <CLI/CLI.hpp>

int main(int argc, char** argv) {
    using namespace rankwright;
    CLI::App options("a simulated visit");
    std::string file;
    app::WholeVisit::Plan plan;
    std::vector<std::string> stops;
    double patience_s = 40000.0;
    bool alone = false, no_faults = false;
    options.add_option("organ", file)->required();
    options.add_option("stops", stops)->required();
    options.add_option("--seed", plan.seed);
    options.add_option("--every", plan.every);
    options.add_option("--patience", patience_s);
    options.add_flag("--alone", alone);
    options.add_flag("--no-faults", no_faults);
    options.add_flag("--tells", plan.tells);
    CLI11_PARSE(options, argc, argv);
    plan.by_beats = !alone;
    plan.with_faults = !no_faults;
    const auto instrument = storage::load_instrument(file);
    if (!instrument) return 2;
    for (const std::string& name : stops) {
        const auto stop = organ::find_stop(*instrument, name);
        if (!stop) {
            std::fprintf(stderr, "%s\n", stop.error().message.c_str());
            return 2;
        }
        plan.stops.push_back({stop->division->id, stop->stop->id});
    }
    const std::clock_t began = std::clock();
    app::WholeVisit visit(*instrument, plan);
    visit.survey();
    visit.tune(Seconds{patience_s});
    std::fputs(told(visit).c_str(), stdout);
    std::printf("processor time %.0f s\n",
                static_cast<double>(std::clock() - began) / CLOCKS_PER_SEC);
    bool good = true;
    for (const app::PipeStory& story : visit.stories())
        good = good && (!story.done || story.right());
    for (const app::Planted& one : visit.planted())
        good = good && one.found;
    return good ? 0 : 1;
}
