// A stop without pipes of its own sounds those of its owner.
#include "simulator/chamber.h"

#include <vector>

#include <gtest/gtest.h>

namespace rankwright::simulator {
namespace borrowed_stop_test {

organ::Instrument with_a_borrowed_stop() {
    organ::Instrument instrument;
    organ::Stop bourdon;
    bourdon.id = "bourdon-16";
    bourdon.name = "Bourdon 16'";
    bourdon.footage = {16, 1};
    bourdon.makes = {
        {1, {organ::PipeKind::stopped, organ::Material::wood, organ::TuningDevice::stopper, 1.0}}};
    organ::Division great;
    great.id = "great";
    great.name = "Great";
    great.stops = {bourdon};
    organ::Stop borrowed = bourdon;
    borrowed.makes.clear();
    borrowed.last_key = 30;
    borrowed.borrowed = organ::Borrowed{"great", "bourdon-16"};
    organ::Division pedal;
    pedal.id = "pedal";
    pedal.name = "Pedal";
    pedal.keys = 30;
    pedal.stops = {borrowed};
    instrument.divisions = {great, pedal};
    return instrument;
}

TEST(BorrowedStop, SoundsItsOwnersPipeAndOnlyWhenDrawn) {
    const organ::Instrument instrument = with_a_borrowed_stop();
    Chamber chamber(instrument, {});
    const PipeId owned{"great", "bourdon-16", 1, 13};
    std::vector<float> sound(48000);
    chamber.key_down("Pedal", 13);
    chamber.render(sound);
    EXPECT_FALSE(chamber.cycles(owned)) << "no stop is drawn";
    chamber.draw_stop("Pedal", "Bourdon 16'", true);
    chamber.render(sound);
    EXPECT_TRUE(chamber.cycles(owned));
    chamber.draw_stop("Pedal", "Bourdon 16'", false);
    for (int second = 0; second < 4; ++second)
        chamber.render(sound);
    EXPECT_FALSE(chamber.cycles(owned));
}

}  // namespace borrowed_stop_test
}  // namespace rankwright::simulator
