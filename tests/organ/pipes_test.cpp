#include "organ/instrument.h"
#include "organ/target.h"

#include <map>
#include <set>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::organ {
namespace pipes_test {

Instrument unit_organ() {
    Instrument organ;
    organ.name = "the test organ";
    Division pedal{"pedal", "Pedal", 32, 36, ChestArrangement::chromatic, {}, 1, {}};
    Stop subbass;
    subbass.id = "subbass-16";
    subbass.name = "Subbass 16′";
    subbass.footage = {16, 1};
    subbass.last_key = 32;
    subbass.extra_pipes = 24;
    subbass.makes = {{1, {PipeKind::stopped, Material::wood, TuningDevice::stopper, 1.0}},
                     {25, {PipeKind::stopped, Material::metal, TuningDevice::cap, 1.0}}};
    pedal.stops.push_back(subbass);
    const auto borrow = [&](const char* name, Footage footage) {
        Stop stop;
        stop.id = slug(name);
        stop.name = name;
        stop.footage = footage;
        stop.last_key = 32;
        stop.borrowed = Borrowed{"pedal", "subbass-16"};
        pedal.stops.push_back(stop);
    };
    borrow("Flute 8'", {8, 1});
    borrow("Quint 10 2/3'", {32, 3});
    Division great{"great", "Great", 61, 36, ChestArrangement::chromatic, {}, 1, {}};
    Stop bourdon;
    bourdon.id = "bourdon-16";
    bourdon.name = "Bourdon 16'";
    bourdon.footage = {16, 1};
    bourdon.borrowed = Borrowed{"pedal", "subbass-16"};
    great.stops.push_back(bourdon);
    organ.divisions = {pedal, great};
    organ.temperament = *built_in_temperament("Vallotti");
    return organ;
}

std::vector<Pipe> pipes_of(const Instrument& organ, std::string_view name) {
    return pipes(find_stop(organ, name).value());
}

TEST(Pipes, ABorrowedPipeIsOnePipe) {
    const Instrument organ = unit_organ();
    const std::vector<Pipe> all = pipes(organ);
    EXPECT_EQ(all.size(), 56U);
    std::set<PipeId> ids;
    for (const Pipe& pipe : all)
        EXPECT_TRUE(ids.insert(pipe.id).second) << to_string(pipe.id);
    for (const char* stop : {"Flute 8'", "Quint 10 2/3'", "Bourdon 16'"})
        for (const Pipe& pipe : pipes_of(organ, stop))
            EXPECT_EQ(ids.count(pipe.id), 1U) << stop << " " << to_string(pipe.id);
}

TEST(Pipes, AnExtensionPlaysAnOctaveUp) {
    const std::vector<Pipe> flute = pipes_of(unit_organ(), "flute 8");
    ASSERT_EQ(flute.size(), 32U);
    EXPECT_EQ(to_string(flute.front().id), "pedal/subbass-16/1/13");
    EXPECT_EQ(flute.front().key, 1);
    EXPECT_EQ(flute.front().note, "CC");
    EXPECT_EQ(flute.front().stop, "Flute 8'");
    EXPECT_EQ(to_string(flute.back().id), "pedal/subbass-16/1/44");
    EXPECT_EQ(flute.back().make.device, TuningDevice::cap);
}

TEST(Pipes, OnePipeHasOneTargetWhoeverPlaysIt) {
    const Instrument organ = unit_organ();
    std::map<PipeId, Hertz> targets;
    for (const Pipe& pipe : pipes(organ))
        targets[pipe.id] = target(organ, pipe, {});
    for (const char* stop : {"Flute 8'", "Quint 10 2/3'", "Bourdon 16'"})
        for (const Pipe& pipe : pipes_of(organ, stop))
            EXPECT_NEAR(interval(targets[pipe.id], target(organ, pipe, {})).value(), 0.0, 1e-9)
                << stop << " " << to_string(pipe.id);
}

// 56 pipes from 16′ C reach G of the fifth octave: the Great's Bourdon ends at key 56.
TEST(Pipes, ABorrowingEndsWhereItsOwnerDoes) {
    const std::vector<Pipe> bourdon = pipes_of(unit_organ(), "Great/Bourdon 16'");
    EXPECT_EQ(bourdon.size(), 56U);
    EXPECT_EQ(bourdon.back().key, 56);
}

TEST(Pipes, MakesGoByKeyRange) {
    const std::vector<Pipe> subbass = pipes_of(unit_organ(), "Subbass 16'");
    EXPECT_EQ(subbass[23].make.material, Material::wood);
    EXPECT_EQ(subbass[24].make.material, Material::metal);
}

TEST(Pipes, StopsAreFoundByNameIdAndDivision) {
    const Instrument organ = unit_organ();
    for (const char* name : {"Subbass 16′", "subbass 16'", "SUBBASS 16", "pedal/subbass-16",
                             "Pedal/Subbass 16’", "subbass-16"})
        EXPECT_TRUE(find_stop(organ, name)) << name;
    EXPECT_TRUE(find_stop(organ, "Quint 10 2/3'"));
    EXPECT_TRUE(find_stop(organ, "Pedal/Quint 10 2/3"));
    const auto missing = find_stop(organ, "Subass 16");
    ASSERT_FALSE(missing);
    EXPECT_EQ(missing.error().kind, ErrorKind::not_found);
    EXPECT_THAT(missing.error().message, ::testing::HasSubstr("Pedal/Subbass 16"));
}

TEST(Pipes, ANameInTwoDivisionsMustSayWhich) {
    Instrument organ = unit_organ();
    organ.divisions[1].stops.push_back(organ.divisions[0].stops[0]);
    const auto doubtful = find_stop(organ, "Subbass 16'");
    ASSERT_FALSE(doubtful);
    EXPECT_THAT(doubtful.error().message, ::testing::HasSubstr("Great/Subbass"));
    EXPECT_EQ(find_stop(organ, "Great/Subbass 16'").value().division->id, "great");
}

}  // namespace pipes_test
}  // namespace rankwright::organ
