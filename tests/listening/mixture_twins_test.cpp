// What is said of two pipes of one pitch: facts of the trade, common practice, no source.
#include "listening/mixture/twins.h"

#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace mixture_twins_test {

MixturePipeReading sounding(PureRatio ratio, double cents) {
    MixturePipeReading pipe;
    pipe.ratio = ratio;
    pipe.presence = Presence::sounding;
    pipe.cents = Cents{cents};
    pipe.cents_sd = Cents{0.01};
    pipe.hz = transpose(Hertz{250.0 * ratio.value()}, *pipe.cents);
    return pipe;
}

MixturePipeReading silent(PureRatio ratio) {
    MixturePipeReading pipe;
    pipe.ratio = ratio;
    pipe.presence = Presence::silent;
    return pipe;
}

TEST(MixtureTwins, NeitherIsNamedUnlessOneWasHeardForItself) {
    std::vector<MixturePipeReading> pipes{sounding({3, 1}, 1.0), sounding({4, 1}, 4.0),
                                          sounding({4, 1}, -3.0)};
    judge_twins(pipes, std::nullopt);
    EXPECT_FALSE(pipes[0].twin);
    EXPECT_EQ(pipes[1].twin, 2U);
    EXPECT_EQ(pipes[2].twin, 1U);
    std::vector<MixturePipeReading> known{sounding({4, 1}, 4.0), sounding({4, 1}, -3.0)};
    judge_twins(known, 1U);
    EXPECT_FALSE(known[0].twin || known[1].twin);
}

TEST(MixtureTwins, OnAKeyNearlyInTuneAMutedTwinCantBeToldFromOneInUnison) {
    std::vector<MixturePipeReading> pipes{sounding({2, 1}, 0.2), sounding({3, 1}, -0.3),
                                          sounding({4, 1}, 0.1), silent({4, 1})};
    judge_twins(pipes, std::nullopt);
    EXPECT_EQ(pipes[3].presence, Presence::cannot_tell);
    EXPECT_EQ(pipes[3].unresolved_with, std::vector<std::size_t>{2});
    EXPECT_EQ(pipes[3].untold, Untold::hidden);
    // Two pipes in unison have no beat that could be waited for.
    EXPECT_TRUE(pipes[3].mute_one && pipes[2].mute_one);
    EXPECT_FALSE(pipes[3].to_part || pipes[2].to_part);
    // What is heard may be both, as far apart as a tenth of a cent or more.
    EXPECT_GT(pipes[2].cents_sd->value(), 0.05);
    EXPECT_DOUBLE_EQ(pipes[1].cents_sd->value(), 0.01);
}

TEST(MixtureTwins, OnAKeyCentsOutOfTuneAMutedTwinIsSilent) {
    std::vector<MixturePipeReading> pipes{sounding({2, 1}, 5.2), sounding({3, 1}, -3.3),
                                          sounding({4, 1}, 2.1), silent({4, 1})};
    judge_twins(pipes, std::nullopt);
    EXPECT_EQ(pipes[3].presence, Presence::silent);
    EXPECT_DOUBLE_EQ(pipes[2].cents_sd->value(), 0.01);
}

}  // namespace mixture_twins_test
}  // namespace rankwright::listening
