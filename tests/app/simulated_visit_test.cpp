// A visit to an invented organ from the first pipe to the last: the work as the program does it,
// with a simulated helper and a technician who knows only what the screen says, faster than time.
#include "app/simulated_chamber.h"
#include "app/technician.h"
#include "app/work.h"
#include "organ/instrument.h"
#include "organ/target.h"
#include "storage/instrument_file.h"

#include <algorithm>
#include <cmath>
#include <cstdlib>
#include <map>
#include <string>

#include <gtest/gtest.h>

namespace rankwright::app {
namespace {

/// A tuning book that is always there: what the real one does with a disk is its own test's matter.
struct MemoryBook {
    std::vector<visit::BookEntry> entries;
    Book port() {
        return {[this](visit::BookEntry entry) { entries.push_back(std::move(entry)); },
                [this] { return std::uint64_t{entries.size()}; }, [] { return std::string(); },
                [] {}};
    }
};

int from_environment(const char* name, int otherwise) {
    const char* text = std::getenv(name);
    return text != nullptr ? std::atoi(text) : otherwise;
}

// The tolerance is what the screen promises: half a cent, or a beat in twenty seconds (common
// practice, no source). The truth is the simulated pipe's own, which nobody at work may ask.
TEST(SimulatedVisit, EveryPipeThatIsCalledKeptStandsWithinTolerance) {
    const auto instrument =
        storage::load_instrument(std::string(RANKWRIGHT_INSTRUMENTS) + "/emberlow.toml");
    ASSERT_TRUE(instrument);
    const auto stop = organ::find_stop(*instrument, "Great/Octave 4'");
    ASSERT_TRUE(stop);
    const auto seed = static_cast<std::uint64_t>(from_environment("RANKWRIGHT_VISIT_SEED", 4));
    const int pipes = from_environment("RANKWRIGHT_VISIT_PIPES", 6);

    simulator::Chamber::Parameters parameters;
    parameters.seed = seed;
    parameters.temperature = instrument->at;
    auto chamber = simulate_chamber(*instrument, parameters, false);
    MemoryBook book;
    Work work(*instrument, *stop, {}, {visit::Job::to_target, false}, std::move(chamber.console),
              book.port());
    ScreenReader technician(seed + 1);

    Seconds now{0.0};
    const Seconds patience{40.0 * pipes};
    const auto all_done = [&] {
        const auto& outcomes = work.run().outcomes();
        const auto end = outcomes.begin() + pipes;
        return std::all_of(outcomes.begin(), end, [](const auto& outcome) {
            return (outcome.settled && !outcome.again) || outcome.open;
        });
    };
    while (!all_done() && now < patience) {
        capture::CaptureBlock block;
        ASSERT_TRUE(chamber.source->read(block, Seconds{1.0}));
        work.hear(block);
        now += duration(block.frames, block.rate);
        const auto snapshot = work.snapshot(chamber.source->status());
        if (const auto command = technician.look(snapshot, now)) {
            if (std::getenv("VLOG")) std::printf("%.1f %s %s stage %d dev %.2f unc %.2f cmd %zu\n", now.count(), snapshot.stop.c_str(), snapshot.note.c_str(), (int)snapshot.stage, snapshot.deviation.value_or(Cents{99}).value(), snapshot.uncertainty.value_or(Cents{99}).value(), command->index());
            work.obey(*command);
        }
    }
    std::map<PipeId, Hertz> truth;
    chamber.source->post([&](simulator::Chamber& sounding) {
        for (const organ::Pipe& pipe : work.run().pipes())
            truth[pipe.id] = sounding.true_pitch(pipe.id);
    });
    capture::CaptureBlock block;
    ASSERT_TRUE(chamber.source->read(block, Seconds{1.0}));

    EXPECT_TRUE(all_done()) << now.count() << " s";
    int kept = 0;
    for (int i = 0; i < pipes; ++i) {
        const organ::Pipe& pipe = work.run().pipes()[static_cast<std::size_t>(i)];
        const auto& record = work.run().record().of(pipe.id);
        SCOPED_TRACE(pipe.note);
        EXPECT_TRUE(record.before) << "as found";
        if (!work.run().record().kept(pipe.id) || record.list != visit::ListState::done) continue;
        ++kept;
        const Hertz target = organ::target(*instrument, pipe, {});
        const double off = interval(target, truth[pipe.id]).value();
        EXPECT_LT(std::abs(off), tuning::tolerance_at(target).value() + 0.3) << off;
        std::printf("%-14s found %6.2f, left %6.2f as shown, %6.2f in truth\n", pipe.note.c_str(),
                    record.before->deviation.value(), record.after->deviation.value(), off);
    }
    std::printf("%d of %d kept in %.0f s of work\n", kept, pipes, now.count());
    EXPECT_GE(kept, pipes - 1) << "left open: at most one";
}

}  // namespace
}  // namespace rankwright::app
