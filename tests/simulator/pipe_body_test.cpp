#include "simulator/pipe_body.h"

#include "one_of_each.h"
#include "organ/movement.h"
#include "organ/target.h"

#include <gtest/gtest.h>

namespace rankwright::simulator {
namespace pipe_body_test {

organ::Pipe pipe_with(organ::PipeKind kind, organ::TuningDevice device) {
    organ::Pipe pipe;
    pipe.make.kind = kind;
    pipe.make.device = device;
    return pipe;
}

double cents_per_mm(organ::PipeKind kind, organ::TuningDevice device, double hz, double mm = 0.1) {
    Random random(7, "body");
    const PipeBody body(pipe_with(kind, device), Hertz{hz}, random);
    return body.shift(Millimetres{mm}).value() / mm;
}

// f = c/2L and c/4L (H. Dickson, Practical Organ-Building, and many others): 1731 cents times the
// movement over the acoustic length, at c = 343.2 m/s. A real tube with a mouth gives this within a
// tenth, less what a sleeve's wider bore takes.
TEST(PipeBody, AMillimetreDoesWhatTheAcousticLengthSays) {
    using organ::PipeKind;
    using organ::TuningDevice;
    EXPECT_NEAR(cents_per_mm(PipeKind::open, TuningDevice::sleeve, 65.406), -0.660, 0.09);
    EXPECT_NEAR(cents_per_mm(PipeKind::open, TuningDevice::sleeve, 261.626), -2.639, 0.35);
    EXPECT_NEAR(cents_per_mm(PipeKind::open, TuningDevice::slide, 1046.50), -10.558, 1.4);
    EXPECT_NEAR(cents_per_mm(PipeKind::stopped, TuningDevice::cap, 261.626), -5.279, 0.55);
    EXPECT_NEAR(cents_per_mm(PipeKind::stopped, TuningDevice::stopper, 65.406), -1.320, 0.14);
    EXPECT_NEAR(cents_per_mm(PipeKind::harmonic, TuningDevice::sleeve, 523.251), -2.639, 0.35);
}

// Directions: G. L. Miller (1913) ch. XI for the wire, toff.org.uk for slide and stopper; cone,
// ears, shade and scroll: common practice, no source.
TEST(PipeBody, EveryDeviceTurnsThePitchTheWayTheTradeSays) {
    using organ::TuningDevice;
    for (const TuningDevice device : {TuningDevice::sleeve, TuningDevice::slide, TuningDevice::cap,
                                      TuningDevice::stopper, TuningDevice::scroll}) {
        EXPECT_LT(cents_per_mm(organ::PipeKind::open, device, 261.6), 0.0);
    }
    for (const TuningDevice device :
         {TuningDevice::cone, TuningDevice::ears, TuningDevice::shade, TuningDevice::flap}) {
        EXPECT_GT(cents_per_mm(organ::PipeKind::open, device, 261.6), 0.0);
    }
    EXPECT_LT(cents_per_mm(organ::PipeKind::reed_full, TuningDevice::reed_wire, 130.8, 0.1), -20.0);
    EXPECT_LT(cents_per_mm(organ::PipeKind::reed_full, TuningDevice::resonator_sleeve, 130.8), 0.0);
    EXPECT_EQ(cents_per_mm(organ::PipeKind::open, TuningDevice::none, 261.6), 0.0);
}

// The product's advice in millimetres meets pipes whose scale, mouth and sleeve it knows nothing
// of. A sleeve's wider bore lets it do up to 8 % less than its movement; 10 % and 0.1 cent are
// allowed.
TEST(PipeBody, AdviceInMillimetresTakesAwayNineTenthsOfTheError) {
    const organ::Instrument instrument = one_of_each();
    Chamber::Parameters parameters = still();
    parameters.mistuning = Cents{15.0};
    Chamber chamber(instrument, parameters);
    int advised = 0;
    for (const organ::Pipe& pipe : organ::pipes(instrument)) {
        const Hertz home = organ::target(instrument, pipe, {});
        const Hertz now = chamber.true_pitch(pipe.id);
        const double before = interval(home, now).value();
        const organ::Movement advice = organ::movement(pipe, now, Cents{-before}, 343.2);
        if (!advice.at_least || !advice.at_most) continue;
        ++advised;
        const Millimetres middle = 0.5 * (*advice.at_least + *advice.at_most);
        chamber.move_device(pipe.id, advice.way == organ::Way::up ? middle : -middle);
        const double after = interval(home, chamber.true_pitch(pipe.id)).value();
        EXPECT_LT(std::abs(after), 0.1 * std::abs(before) + 0.1) << to_string(pipe.id);
    }
    EXPECT_GT(advised, 100);
}

}  // namespace pipe_body_test
}  // namespace rankwright::simulator
