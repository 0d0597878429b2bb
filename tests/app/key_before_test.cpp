// The helper needs a moment to move on, and the room goes on sounding: what is heard then is the
// key before, also where the next pipe is to stand at the same pitch. Truth: the chamber's.
#include "app/simulated_chamber.h"
#include "app/work.h"
#include "organ/instrument.h"
#include "storage/instrument_file.h"

#include <functional>
#include <optional>
#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::app {
namespace key_before_test {

constexpr Seconds kSlowToMoveOn{2.0};  // common practice, no source

struct KeyBefore : ::testing::Test {
    decltype(storage::load_instrument("")) instrument =
        storage::load_instrument(std::string(RANKWRIGHT_INSTRUMENTS) + "/emberlow.toml");
    std::vector<visit::BookEntry> entries;

    void listen(Work& work, SimulatedChamber& chamber, Seconds time) {
        capture::CaptureBlock block;
        for (Seconds heard{0.0}; heard < time && chamber.source->read(block, Seconds{1.0});) {
            work.hear(block);
            heard += duration(block.frames, block.rate);
        }
    }
};

TEST_F(KeyBefore, IsNotKeptAsFoundOfTheNextPipe) {
    ASSERT_TRUE(instrument);
    int found = 0;
    for (const int key : {6, 18, 30, 42})
        for (const std::uint64_t seed : {41, 42}) {
            entries.clear();
            simulator::Chamber::Parameters parameters;
            parameters.rate = SampleRate{24000.0};
            parameters.seed = seed;
            parameters.temperature = instrument->at;
            SimulatedChamber chamber = simulate_chamber(*instrument, parameters, false);
            const PipeId first{"great", "octave-4", 1, key};
            const PipeId next{"great", "principal-8", 1, key + 12};  // sounds the same note
            Hertz truth;
            chamber.source->post(
                [&](simulator::Chamber& sounding) { truth = sounding.true_pitch(next); });
            const Book book{[&](visit::BookEntry entry) { entries.push_back(std::move(entry)); },
                            [&] { return std::uint64_t{entries.size()}; },
                            [] { return std::string(); }, [] {}};
            std::function<void()> called;
            Console console = chamber.console;
            console.call = [&](const organ::Pipe& pipe, const std::optional<organ::Pipe>& with) {
                called = [&, pipe, with] { chamber.console.call(pipe, with); };
            };
            Work work(*instrument, organ::stop_by_id(*instrument, "great", "octave-4"), {}, {},
                      console, book, {});
            work.obey(visit::GoToPipe{first});
            called();
            listen(work, chamber, Seconds{4.0});
            work.obey(visit::GoToPipe{next});
            listen(work, chamber, kSlowToMoveOn);
            called();
            listen(work, chamber, Seconds{5.0});
            work.rest();
            const auto& before = work.run().record().of(next).before;
            if (!before) continue;
            ++found;
            EXPECT_NEAR(interval(truth, before->pitch).value(), 0.0, 1.2) << key << ", " << seed;
        }
    EXPECT_GE(found, 7);
}

}  // namespace key_before_test
}  // namespace rankwright::app
