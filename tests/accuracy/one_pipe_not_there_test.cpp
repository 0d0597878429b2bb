// A recorded pipe that sounds alone while another was asked for, a third to a fifth away: nothing
// stands there, and what an unsteady pipe leaves beside its own partials is no pipe. The recordings
// are an open data set (support/recordings.h); the intervals are those of the harmonic series.
#include "listening/among_others.h"
#include "support/recordings.h"

#include <utility>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::listening {
namespace one_pipe_not_there_test {

TEST(OnePipe, IsntReadWhereItDoesntStand) {
    auto pipes = testing::recorded_pipes({"FlHarm8", "Hautbois8"}, 43, 43);
    for (testing::RecordedPipe& pipe : testing::recorded_pipes({"Montre8"}, 55, 55))
        pipes.push_back(std::move(pipe));
    ASSERT_EQ(pipes.size(), 3U);
    for (const testing::RecordedPipe& pipe : pipes)
        for (const double away : {3.0 / 4, 5.0 / 4, 4.0 / 3, 3.0 / 2}) {
            const Hertz near{pipe.nominal_hz() * away};
            for (const std::vector<float>& channel : pipe.channels) {
                const auto heard = hear_pipe(channel, SampleRate{pipe.rate}, {near, false});
                EXPECT_FALSE(heard) << pipe.name() << " asked for at " << near.value()
                                    << " Hz, read at " << heard->reading.pitch.value();
            }
        }
}

}  // namespace one_pipe_not_there_test
}  // namespace rankwright::listening
