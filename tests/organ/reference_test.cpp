#include "organ/reference.h"

#include "organ/one_rank.h"

#include <cmath>

#include <gtest/gtest.h>

namespace rankwright::organ {
namespace reference_test {

using namespace literals;

Instrument organ_with_references() {
    Stop octave = rank_of("Octave 4'", {4, 1});
    const auto from_octave = [](Stop stop) {
        stop.tuned_from = {{1, "great", "octave-4", 0}};
        return stop;
    };
    Stop trumpet = from_octave(rank_of("Trumpet 8'", {8, 1}));
    trumpet.tuned_from.push_back({13, "great", "trumpet-8", -12});
    Stop mixture = from_octave(rank_of("Mixture II", {8, 1}));
    mixture.composition = {{1, {{4, 3}, {1, 1}}}};
    Stop celeste = rank_of("Celeste 8'", {8, 1});
    celeste.tuned_from = {{1, "great", "salicional-8", 0}};
    celeste.celeste = Celeste{"great", "salicional-8", {{1, 2.5_Hz}}};
    Stop fifth_below = rank_of("Quint 5 1/3'", {16, 3});
    fifth_below.tuned_from = {{8, "great", "octave-4", -7}};
    return organ_of({octave, from_octave(rank_of("Principal 8'", {8, 1})),
                     from_octave(rank_of("Tierce 1 3/5'", {8, 5})), trumpet, mixture,
                     from_octave(rank_of("Salicional 8'", {8, 1})), celeste, fifth_below});
}

struct Case {
    const char* stop;
    int key;
    int row;
    const char* reference;
    int m, n;
    double beat;
    const char* words;
};

class ReferenceOf : public ::testing::TestWithParam<Case> {};

TEST_P(ReferenceOf, IsAsTheFileSays) {
    const Case& c = GetParam();
    const Instrument organ = organ_with_references();
    const auto pipe = pipe_of(find_stop(organ, c.stop).value(), c.key, c.row);
    ASSERT_TRUE(pipe);
    const auto reference = reference_of(organ, *pipe, {});
    ASSERT_TRUE(reference);
    EXPECT_EQ(to_string(reference->pipe.id), c.reference);
    EXPECT_EQ(reference->reference_partial, c.m);
    EXPECT_EQ(reference->pipe_partial, c.n);
    EXPECT_NEAR(reference->beat.value(), c.beat, 1e-6);
    EXPECT_EQ(reference->words, c.words);
}

// The partials are those of the exact ratios: octave 2:1, tierce on 4′ 5:2, 1 1/3 on 4′ 3:1.
INSTANTIATE_TEST_SUITE_P(
    Reference, ReferenceOf,
    ::testing::Values(
        Case{"Principal 8'", 25, 1, "great/octave-4/1/25", 1, 2, 0.0,
             "from Octave 4', the same key"},
        Case{"Tierce 1 3/5'", 1, 1, "great/octave-4/1/1", 5, 2, 0.0,
             "from Octave 4', the same key"},
        Case{"Mixture II", 5, 1, "great/octave-4/1/5", 3, 1, 0.0, "from Octave 4', the same key"},
        Case{"Mixture II", 5, 2, "great/octave-4/1/5", 4, 1, 0.0, "from Octave 4', the same key"},
        Case{"Trumpet 8'", 12, 1, "great/octave-4/1/12", 1, 2, 0.0, "from Octave 4', the same key"},
        Case{"Trumpet 8'", 13, 1, "great/trumpet-8/1/1", 2, 1, 0.0, "from itself, an octave below"},
        Case{"Celeste 8'", 25, 1, "great/salicional-8/1/25", 1, 1, 2.5,
             "from Salicional 8', the same key"}));

TEST(Reference, ATemperedIntervalBeats) {
    const Instrument organ = organ_with_references();
    const auto pipe = pipe_of(find_stop(organ, "Quint 5 1/3'").value(), 20, 1);
    const auto reference = reference_of(organ, *pipe, {});
    ASSERT_TRUE(reference);
    EXPECT_EQ(to_string(reference->pipe.id), "great/octave-4/1/13");
    const double beat = reference->pipe_partial * target(organ, *pipe, {}).value() -
                        reference->reference_partial * target(organ, reference->pipe, {}).value();
    EXPECT_NEAR(reference->beat.value(), beat, 1e-9);
    EXPECT_GT(std::abs(beat), 0.1);
}

// Three beats a second at CC are 77.6 cents (1200 log2((65.406 + 3) / 65.406)): more than a quarter
// tone, and still a unison with the mate.
TEST(Reference, ACelesteInTheBottomOctaveKeepsItsMate) {
    Stop celeste = rank_of("Celeste 8'", {8, 1});
    celeste.celeste = Celeste{"great", "salicional-8", {{1, 3_Hz}}};
    celeste.tuned_from = {{1, "great", "salicional-8", 0}};
    const Instrument organ = organ_of({rank_of("Salicional 8'", {8, 1}), celeste});
    for (const int key : {1, 2, 7, 13, 61}) {
        const Pipe pipe = *pipe_of(find_stop(organ, "Celeste 8'").value(), key);
        const auto reference = reference_of(organ, pipe, {});
        ASSERT_TRUE(reference) << key;
        EXPECT_EQ(reference->reference_partial, 1) << key;
        EXPECT_EQ(reference->pipe_partial, 1) << key;
        EXPECT_NEAR(reference->beat.value(), 3.0, 1e-9) << key;
    }
}

TEST(Reference, NoneForTheBearings) {
    const Instrument organ = organ_with_references();
    EXPECT_FALSE(reference_of(organ, *pipe_of(find_stop(organ, "Octave 4'").value(), 1), {}));
}

TEST(Reference, MeetingsOfTemperedIntervals) {
    const auto check = [](double cents, int m, int n) {
        const auto meeting = meeting_of(Cents{cents});
        ASSERT_TRUE(meeting) << cents;
        EXPECT_EQ(meeting->reference_partial, m) << cents;
        EXPECT_EQ(meeting->pipe_partial, n) << cents;
    };
    check(0.0, 1, 1);
    check(26.0, 1, 1);
    check(700.0, 3, 2);
    check(696.6, 3, 2);
    check(500.0, 4, 3);
    check(400.0, 5, 4);
    check(-400.0, 4, 5);
    check(300.0, 6, 5);
    check(900.0, 5, 3);
    check(800.0, 8, 5);
    check(1900.0, 3, 1);
    check(2786.3, 5, 1);
    check(-1200.0, 1, 2);
}

}  // namespace reference_test
}  // namespace rankwright::organ
