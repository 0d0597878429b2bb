// A walk over the work list that comes to a mixture's key: the real work, a simulated chamber and
// helper, and a technician who knows only the screen. In which order pipes are gone to is the
// trade's (common practice, no source); the truth is the chamber's own pitch.
#include "app/simulated_chamber.h"
#include "app/technician.h"
#include "app/work.h"
#include "organ/reference.h"
#include "organ/target.h"
#include "storage/instrument_file.h"

#include <algorithm>
#include <cmath>
#include <string>
#include <vector>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::app {
namespace mixture_on_the_list_test {

using ::testing::ElementsAre;

// The Mixture is tuned from the Octave, as the Trumpet is, a reed, which comes last
// (instruments/emberlow.toml).
TEST(MixtureOnTheList, IsComeToAfterTheRankItIsTunedFromItsOtherPipesMuted) {
    const auto instrument =
        storage::load_instrument(std::string(RANKWRIGHT_INSTRUMENTS) + "/emberlow.toml");
    ASSERT_TRUE(instrument);
    const PipeId octave{"great", "octave-4", 1, 20}, trumpet{"great", "trumpet-8", 1, 20};
    const auto row = [](int number) { return PipeId{"great", "mixture-iii", number, 20}; };
    visit::Record record;
    for (const PipeId& id : {trumpet, row(2), row(1), row(3), octave})
        record.add({}, visit::ListChange{id, visit::ListState::wanted});

    simulator::Chamber::Parameters parameters;
    parameters.rate = SampleRate{24000.0};
    parameters.seed = 4;
    parameters.temperature = instrument->at;
    parameters.mistuning = Cents{0.0};  // nothing waits for its reference to cool
    parameters.handling = 0.0;
    SimulatedChamber chamber = simulate_chamber(*instrument, parameters, false);
    chamber.source->post([&](simulator::Chamber& sounding) {
        const Hertz right = sounding.true_pitch(row(2));
        while (std::abs(interval(right, sounding.true_pitch(row(2))).value()) < 7.0)
            sounding.move_device(row(2), Millimetres{0.05});
    });
    visit::RunOptions options;
    options.job = visit::Job::from_reference;
    options.only_listed = true;
    Work work(*instrument, organ::stop_by_id(*instrument, "great", "octave-4"), {}, options,
              std::move(chamber.console), {}, visit::Record(record.take_owed()),
              MixtureEar::When::at_once);

    std::vector<PipeId> gone_to;
    std::vector<std::size_t> muted;  // while each of them was done
    std::string words;
    ScreenReader technician(5);
    bool over = false;  // but for pipes that are said to cool
    for (Seconds took{0.0}; took < Seconds{1500.0} && !over;) {
        capture::CaptureBlock block;
        ASSERT_TRUE(chamber.source->read(block, Seconds{1.0}));
        work.hear(block);
        took += duration(block.frames, block.rate);
        const overlay::Snapshot screen = work.snapshot(chamber.source->status());
        over = screen.end.has_value() || screen.wait.has_value();
        for (const overlay::Notice& notice : screen.notices)
            if (notice.words.find("--job") != std::string::npos) words = notice.words;
        if (!over && (gone_to.empty() || gone_to.back() != screen.pipe)) {
            gone_to.push_back(screen.pipe);
            muted.push_back(0);
        }
        if (screen.stage == overlay::Stage::settled)
            chamber.source->post([&muted, at = muted.size() - 1](simulator::Chamber& sounding) {
                muted[at] = sounding.muted().size();
            });
        if (const auto command = technician.look(screen, took)) work.obey(*command);
    }
    EXPECT_TRUE(over) << "the screen says that nothing is left to do now";
    EXPECT_EQ(words, "") << "no other start is asked for";
    // Each at first, whatever must be heard again.
    std::vector<PipeId> first;
    for (const PipeId& id : gone_to)
        if (std::find(first.begin(), first.end(), id) == first.end()) first.push_back(id);
    EXPECT_THAT(first, ElementsAre(octave, row(1), row(2), row(3), trumpet));
    for (std::size_t i = 0; i < gone_to.size(); ++i)
        if (gone_to[i].stop == "mixture-iii") {
            EXPECT_EQ(muted[i], 2U) << to_string(gone_to[i]);
        }
    for (const PipeId& id : first) {
        const auto list = work.run().record().of(id).list;
        EXPECT_TRUE(list == visit::ListState::done || list == visit::ListState::hear_again)
            << to_string(id);
    }
    chamber.source->post([&](simulator::Chamber& sounding) {
        const organ::Day day = work.run().day();
        for (const organ::Pipe& pipe : organ::pipes(*instrument)) {
            if (std::find(first.begin(), first.end(), pipe.id) == first.end()) continue;
            Hertz right = organ::target(*instrument, pipe, day);
            const auto from = organ::reference_of(*instrument, pipe, day);
            if (from && pipe.id == trumpet)
                right =
                    (sounding.true_pitch(from->pipe.id) * from->reference_partial + from->beat) /
                    from->pipe_partial;
            // The tolerance, its wander of 0.3 cent and a reading of it.
            EXPECT_LT(std::abs(interval(right, sounding.true_pitch(pipe.id)).value()),
                      tuning::tolerance_at(right).value() + 0.6)
                << to_string(pipe.id);
        }
    });
    capture::CaptureBlock block;
    chamber.source->read(block, Seconds{1.0});
}

}  // namespace mixture_on_the_list_test
}  // namespace rankwright::app
