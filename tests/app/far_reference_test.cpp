// A reference that stands further off its own target than anybody would look for it, and can't be
// reached: what is tuned from it follows it all the same. Truth: the chamber's.
#include "app/simulated_chamber.h"
#include "app/snapshot.h"
#include "app/work.h"
#include "organ/instrument.h"
#include "organ/target.h"
#include "storage/instrument_file.h"

#include <cmath>
#include <string>

#include <gtest/gtest.h>

namespace rankwright::app {
namespace far_reference_test {

/// Moves a pipe's device until it stands at `pitch`: a twentieth of the way that an open pipe's
/// length would ask for at a time, so that its own law doesn't matter.
void bring(simulator::Chamber& chamber, const PipeId& pipe, Hertz pitch) {
    constexpr double kSpeedOfSound = 343.0;
    for (int step = 0; step < 200; ++step) {
        const Hertz now = chamber.true_pitch(pipe);
        const double longer_mm = kSpeedOfSound * 500.0 * (1.0 / pitch.value() - 1.0 / now.value());
        chamber.move_device(pipe, Millimetres{longer_mm / 20.0});
    }
}

// As in a simulated visit (seed 129), where a pipe didn't settle in ten turns.
TEST(FarReference, IsFoundWhereTheSurveyReadIt) {
    const auto instrument =
        storage::load_instrument(std::string(RANKWRIGHT_INSTRUMENTS) + "/emberlow.toml");
    ASSERT_TRUE(instrument);
    const PipeId reference{"great", "octave-4", 1, 22}, tuned{"great", "principal-8", 1, 22};
    const Hertz wanted = organ::target(
        *instrument,
        *organ::pipe_of(organ::stop_by_id(*instrument, "great", "octave-4"), reference.key), {});
    int shown = 0, settled = 0;
    for (const std::uint64_t seed : {41, 42, 43}) {
        simulator::Chamber::Parameters parameters;
        parameters.rate = SampleRate{24000.0};
        parameters.seed = seed;
        parameters.temperature = instrument->at;
        parameters.handling = 0.0;  // hands leave no warmth
        SimulatedChamber chamber = simulate_chamber(*instrument, parameters, false);
        Hertz truth;
        chamber.source->post([&](simulator::Chamber& sounding) {
            bring(sounding, reference, transpose(wanted, Cents{24.0}));
            truth = sounding.true_pitch(reference);
            bring(sounding, tuned, transpose(truth * 0.5, Cents{0.4}));
        });
        capture::CaptureBlock block;
        ASSERT_TRUE(chamber.source->read(block, Seconds{1.0}));
        ASSERT_NEAR(interval(wanted, truth).value(), 24.0, 1.0);
        visit::KeptReading surveyed;
        surveyed.pipe = reference;
        surveyed.moment = visit::Moment::survey;
        surveyed.pitch = transpose(truth, Cents{0.3});
        surveyed.deviation = interval(wanted, surveyed.pitch);
        surveyed.uncertainty = Cents{0.1};
        visit::Record record;
        record.add(std::chrono::time_point_cast<std::chrono::milliseconds>(
                       std::chrono::system_clock::now()),
                   surveyed);
        organ::Day day;
        day.pitch = instrument->a;
        Work work(*instrument, organ::stop_by_id(*instrument, "great", "principal-8"), day,
                  {visit::Job::from_reference}, chamber.console, {}, record);
        work.obey(visit::GoToPipe{tuned});
        for (Seconds heard{0.0}; heard < Seconds{10.0};) {
            ASSERT_TRUE(chamber.source->read(block, Seconds{1.0}));
            work.hear(block);
            heard += duration(block.frames, block.rate);
            const overlay::Snapshot screen = work.snapshot(chamber.source->status());
            if (heard < Seconds{7.0} || !screen.reference_deviation) continue;
            ++shown;
            EXPECT_NEAR(screen.reference_deviation->value(), 24.0, 2.0)
                << heard.count() << " s, seed " << seed;
        }
        settled += work.snapshot(chamber.source->status()).stage == overlay::Stage::settled ? 1 : 0;
    }
    EXPECT_GT(shown, 300);
    EXPECT_EQ(settled, 3) << "all three";
}

}  // namespace far_reference_test
}  // namespace rankwright::app
