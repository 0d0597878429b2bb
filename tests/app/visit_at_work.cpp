// Works at a visit to an invented organ until it is killed: the real work, the real book, a
// simulated chamber faster than time, a technician who knows only the screen. Prints the key of
// every pipe when the screen first calls it kept, and an empty line for each half second of its
// work. `visit_at_work ORGAN BOOK SEED`; goes on with the visit that is open in the book.
#include "app/simulated_chamber.h"
#include "app/technician.h"
#include "app/visit_book.h"
#include "storage/instrument_file.h"

#include <cstdio>
#include <set>
#include <string>

int main(int argc, char** argv) {
    using namespace rankwright;
    if (argc != 4) return 2;
    const auto instrument = storage::load_instrument(argv[1]);
    if (!instrument) return 2;
    auto book = app::VisitBook::open(*instrument, {argv[2], argv[1], false});
    if (!book) return 2;
    const std::uint64_t seed = std::stoull(argv[3]);
    simulator::Chamber::Parameters parameters;
    parameters.seed = seed;
    parameters.temperature = instrument->at;
    app::SimulatedChamber chamber = app::simulate_chamber(*instrument, parameters, false);
    // Reeds: they needn't cool before they are kept.
    app::Work work(*instrument, organ::stop_by_id(*instrument, "great", "trumpet-8"), {},
                   {visit::Job::to_target, false, {{"great", "trumpet-8"}}},
                   std::move(chamber.console), (*book)->book(), (*book)->record());
    app::ScreenReader technician(seed + 1);
    std::set<int> kept;
    Seconds passed{0.0}, told{0.0};
    for (;;) {
        capture::CaptureBlock block;
        if (!chamber.source->read(block, Seconds{1.0})) return 1;
        work.hear(block);
        passed += duration(block.frames, block.rate);
        for (; told < passed; told += Seconds{0.5}) {
            std::puts("");
            std::fflush(stdout);
        }
        const overlay::Snapshot screen = work.snapshot(chamber.source->status());
        for (const overlay::ChestPipe& pipe : screen.chest)
            if (pipe.kept && kept.insert(pipe.key).second) {
                std::printf("%d\n", pipe.key);
                std::fflush(stdout);
            }
        if (const auto command = technician.look(screen, passed)) work.obey(*command);
    }
}
