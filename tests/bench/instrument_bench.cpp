// How long a very large instrument file takes to load, and its targets to be reckoned.
#include "organ/target.h"
#include "storage/instrument_file.h"

#include <algorithm>
#include <cstdio>
#include <ctime>
#include <string>
#include <vector>

namespace {

// Processor time, so that a busy machine tells no other figure than an idle one.
double now_ms() { return 1000.0 * static_cast<double>(std::clock()) / CLOCKS_PER_SEC; }

// Four divisions of 41 ranks on 61 keys: 10 004 pipes, a third of them mixtures' and every rank
// tuned from another, as an enormous organ's file would have it.
std::string large_file() {
    std::string out =
        "name = \"Bench\"\npitch = { a = 440, at = \"18C\" }\n"
        "temperament = \"Werckmeister III\"\n";
    for (int division = 1; division <= 4; ++division) {
        out += "[[division]]\nname = \"Division " + std::to_string(division) +
               "\"\nkeys = 61\nchest = \"sides, tall at the ends\"\n"
               "[[division.stop]]\nname = \"Octave 4'\"\nkind = \"open\"\ntuned_by = \"sleeve\"\n";
        for (int stop = 1; stop <= 25; ++stop)
            out += "[[division.stop]]\nname = \"Stop " + std::to_string(stop) +
                   "\"\nfeet = \"2 2/3\"\nkind = \"open\"\ntuned_by = \"sleeve\"\n"
                   "tuned_from = \"Octave 4'\"\n";
        for (int stop = 1; stop <= 5; ++stop)
            out += "[[division.stop]]\nname = \"Mixture " + std::to_string(stop) +
                   "\"\nkind = \"open\"\ntuned_by = \"cone\"\ntuned_from = \"Octave 4'\"\n"
                   "mixture = [{ from = \"CC\", rows = \"19.22.26\" },\n"
                   "{ from = \"tenor C\", rows = \"15.19.22\" },\n"
                   "{ from = \"middle C\", rows = \"8.12.15\" }]\n";
    }
    return out;
}

}  // namespace

int main() {
    using namespace rankwright;
    const std::string text = large_file();
    std::vector<double> load_ms, reckon_ms;
    std::size_t count = 0;
    double sum = 0.0;
    for (int run = 0; run < 20; ++run) {
        const double start = now_ms();
        const auto organ = storage::read_instrument(text, "bench.toml");
        const double loaded = now_ms();
        if (!organ) {
            std::printf("%s\n", storage::to_line(organ.error().front()).c_str());
            return 1;
        }
        const auto pipes = organ::pipes(*organ);
        for (const organ::Pipe& pipe : pipes)
            sum += organ::target(*organ, pipe, {}).value();
        const double done = now_ms();
        count = pipes.size();
        load_ms.push_back(loaded - start);
        reckon_ms.push_back(done - loaded);
    }
    const auto best = [](const std::vector<double>& values) {
        return *std::min_element(values.begin(), values.end());
    };
    std::printf(
        "instrument of %zu pipes, %.0f kB: loaded and checked in %.1f ms, targets in %.1f ms "
        "(processor time, best of 20 runs; goal 100 ms together; mean target %.1f Hz)\n",
        count, static_cast<double>(text.size()) / 1000.0, best(load_ms), best(reckon_ms),
        sum / 20.0 / static_cast<double>(count));
    return 0;
}
