#include "organ/walking_order.h"

#include "organ/one_rank.h"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::organ {
namespace walking_order_test {

using ::testing::ElementsAre;

std::vector<std::string> walked(const Instrument& organ, const std::vector<const char*>& ids) {
    std::vector<Pipe> list;
    for (const char* id : ids) {
        const PipeId wanted = parse_pipe_id(id).value();
        const StopRef stop = stop_by_id(organ, wanted.division, wanted.stop);
        list.push_back(pipe_of(stop, wanted.key, wanted.row).value());
    }
    std::vector<std::string> out;
    for (const Pipe& pipe : walking_order(organ, std::move(list)))
        out.push_back(to_string(pipe.id));
    return out;
}

Instrument two_floors() {
    Instrument organ = organ_of({rank_of("Principal 8'", {8, 1}), rank_of("Octave 4'", {4, 1})});
    organ.divisions[0].chest = ChestArrangement::sides_tall_out;
    organ.divisions[0].level = 2;
    Division pedal;
    pedal.id = "pedal";
    pedal.name = "Pedal";
    pedal.keys = 32;
    pedal.stops = {rank_of("Subbass 16'", {16, 1})};
    pedal.stops[0].last_key = 32;
    organ.divisions.push_back(pedal);
    return organ;
}

TEST(WalkingOrder, TheFloorBelowFirstThenOneSideThenTheOther) {
    EXPECT_THAT(
        walked(two_floors(),
               {"great/principal-8/1/2", "great/principal-8/1/3", "great/octave-4/1/1",
                "pedal/subbass-16/1/5", "great/principal-8/1/1", "great/octave-4/1/4"}),
        ElementsAre("pedal/subbass-16/1/5", "great/principal-8/1/1", "great/octave-4/1/1",
                    "great/principal-8/1/3", "great/octave-4/1/4", "great/principal-8/1/2"));
}

TEST(WalkingOrder, RanksOfDifferentCompassShareTheirPlaces) {
    Instrument organ = two_floors();
    organ.divisions[0].stops[1].first_key = 13;
    const Standing first = standing_of(organ, {"great", "octave-4", 1, 15});
    const Standing second = standing_of(organ, {"great", "principal-8", 1, 15});
    EXPECT_EQ(first.place, second.place);
    EXPECT_EQ(first.side, second.side);
}

TEST(WalkingOrder, AStopMayStandElsewhere) {
    Instrument organ = two_floors();
    organ.divisions[0].stops[0].level = 1;
    organ.divisions[0].stops[0].chest = ChestArrangement::chromatic;
    EXPECT_EQ(standing_of(organ, {"great", "principal-8", 1, 4}).place, 3U);
    EXPECT_EQ(standing_of(organ, {"great", "principal-8", 1, 4}).level, 1);
}

}  // namespace walking_order_test
}  // namespace rankwright::organ
