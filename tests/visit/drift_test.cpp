// Drift between visits, with the air taken out. The outside authority is the speed of sound of
// ISO 9613-1:1993, as tests/support/two_visits.h writes it down.
#include "visit/drift.h"

#include "organ/one_rank.h"
#include "support/two_visits.h"
#include "visit/record.h"

#include <algorithm>

#include <gmock/gmock.h>
#include <gtest/gtest.h>

namespace rankwright::visit {
namespace drift_test {

using ::testing::DoubleNear;
using testing::flue_rise;
using testing::TwoVisits;

// One open rank, and a reed that follows the flues by 15 %.
organ::Instrument invented() {
    organ::Stop reed = organ::rank_of("Trumpet 8'", organ::Footage{8, 1});
    reed.makes.front().make.kind = organ::PipeKind::reed_full;
    reed.makes.front().make.temperature_share = 0.15;
    organ::Instrument instrument =
        organ::organ_of({organ::rank_of("Open 8'", organ::Footage{8, 1}), reed});
    instrument.at = Celsius{18.0};
    return instrument;
}

struct Drift : ::testing::Test {
    organ::Instrument instrument = invented();

    std::vector<organ::Pipe> pipes(const std::string& stop) {
        return organ::pipes(*organ::find_stop(instrument, stop));
    }
    std::vector<RankDrift> drifts(const TwoVisits& visits) {
        return drift_between(readings_of("1", visits.first.entries).left,
                             readings_of("2", visits.second.entries).found, &instrument);
    }
};

// At 20 °C a flue rises by 2.95 cents a kelvin: 600 / ln 2 / 293.15 K (ISO 9613-1).
TEST_F(Drift, OfAPipeThatStayedIsNoughtWhateverTheAir) {
    ASSERT_NEAR(flue_rise(19.5, 20.5), 2.953, 0.001);
    TwoVisits visits(instrument, 19.5, 20.5);
    visits.read_thermometers();
    for (const organ::Pipe& pipe : pipes("Open 8'"))
        visits.tune(pipe, 0.0, 0.0, 0.0);
    const auto ranks = drifts(visits);
    ASSERT_EQ(ranks.size(), 1U);
    EXPECT_EQ(ranks[0].basis, DriftBasis::thermometers);
    EXPECT_NEAR(ranks[0].trend->value(), 0.0, 1e-6);
    EXPECT_FALSE(ranks[0].moved);
    ASSERT_EQ(ranks[0].pipes.size(), 61U);
    for (const PipeDrift& pipe : ranks[0].pipes) {
        EXPECT_NEAR(pipe.heard.value(), 2.953, 0.001);
        EXPECT_NEAR(pipe.air.value(), 2.953, 0.001);
        EXPECT_FALSE(pipe.astray);
    }
}

TEST_F(Drift, OfAReedIsSeenWithItsOwnShareOfTheAir) {
    for (const bool measured : {false, true}) {
        TwoVisits visits(instrument, 12.0, 24.0);
        measured ? visits.measure_pitch() : visits.read_thermometers();
        double found = 0.0;
        for (const organ::Pipe& pipe : pipes("Trumpet 8'"))
            found = visits.tune(pipe, 0.3, 1.1, 0.0);
        EXPECT_LT(found, -25.0) << "the flues rose by 36 cents, the reed by 5";
        const auto ranks = drifts(visits);
        ASSERT_EQ(ranks.size(), 1U);
        EXPECT_EQ(ranks[0].basis, measured ? DriftBasis::pitch : DriftBasis::thermometers);
        EXPECT_NEAR(ranks[0].trend->value(), 1.1, 1e-6);
        EXPECT_NEAR(ranks[0].pipes[10].air.value(), 0.15 * flue_rise(12.0, 24.0), 1e-6);
    }
}

// A thermometer that hangs wrong doesn't matter where the references were heard.
TEST_F(Drift, TrustsTheReferencesMoreThanTheThermometers) {
    TwoVisits visits(instrument, 16.0, 20.0);
    visits.first.add(AirReading{{}, Celsius{19.0}, {}});
    visits.second.add(AirReading{{}, Celsius{19.0}, {}});
    visits.measure_pitch();
    for (const organ::Pipe& pipe : pipes("Open 8'"))
        visits.tune(pipe, 0.0, 0.4, 0.0);
    EXPECT_EQ(drifts(visits)[0].basis, DriftBasis::pitch);
    EXPECT_NEAR(drifts(visits)[0].trend->value(), 0.4, 1e-6);
}

// The references stayed at 18 °C, the pipe's own place went to 21 °C.
TEST_F(Drift, TakesOutTheAirOfThePipesOwnPlace) {
    TwoVisits visits(instrument, 18.0, 18.0);
    visits.read_thermometers();
    visits.second.add(AirReading{"great", Celsius{21.0}, {}});
    visits.measure_pitch();
    for (const organ::Pipe& pipe : pipes("Open 8'"))
        visits.tune(pipe, 0.0, flue_rise(18.0, 21.0), 0.0);
    const auto ranks = drifts(visits);
    EXPECT_NEAR(ranks[0].trend->value(), 0.0, 1e-6);
    EXPECT_FALSE(ranks[0].moved);
}

TEST_F(Drift, NamesTheRanksTrendAndThePipesThatDontHold) {
    TwoVisits visits(instrument, 17.0, 21.0);
    visits.measure_pitch();
    std::mt19937 random(11);
    std::normal_distribution<double> small(0.0, 0.3);
    for (const organ::Pipe& pipe : pipes("Open 8'"))
        visits.tune(pipe, small(random),
                    -4.0 + small(random) +
                        (pipe.key == 30   ? 6.0
                         : pipe.key == 44 ? -5.0
                                          : 0.0),
                    0.0);
    const RankDrift rank = drifts(visits)[0];
    EXPECT_TRUE(rank.moved);
    EXPECT_FALSE(rank.restless);
    EXPECT_NEAR(rank.trend->value(), -4.0, 0.2);
    for (const PipeDrift& pipe : rank.pipes)
        EXPECT_EQ(pipe.astray, pipe.pipe.key == 30 || pipe.pipe.key == 44) << pipe.pipe.key;
    EXPECT_NEAR(rank.pipes[29].own.value(), 6.0, 1.0);
    EXPECT_NEAR(rank.pipes[43].own.value(), -5.0, 1.0);
}

TEST_F(Drift, CallsARankRestlessThatScattersAsAWhole) {
    TwoVisits visits(instrument, 18.0, 18.0);
    visits.measure_pitch();
    std::mt19937 random(12);
    std::normal_distribution<double> wide(0.0, 6.0);
    for (const organ::Pipe& pipe : pipes("Open 8'"))
        visits.tune(pipe, 0.0, wide(random), 0.0);
    const RankDrift rank = drifts(visits)[0];
    EXPECT_TRUE(rank.restless);
    EXPECT_NEAR(rank.spread->value(), 6.0, 1.8) << "the standard deviation it was made with";
    const auto astray = std::count_if(rank.pipes.begin(), rank.pipes.end(),
                                      [](const PipeDrift& pipe) { return pipe.astray; });
    EXPECT_LT(astray, 6) << "they belong to the rank's scatter";
}

// Where nothing tells what the air did, pipes are still seen against their own rank.
TEST_F(Drift, WithoutThermometerOrPitchComparesWithinTheRank) {
    TwoVisits visits(instrument, 14.0, 23.0);
    for (const organ::Pipe& pipe : pipes("Open 8'"))
        visits.tune(pipe, 0.0, pipe.key == 20 ? 5.0 : 0.0, 0.0);
    for (const organ::Pipe& pipe : pipes("Trumpet 8'"))
        if (pipe.key < 5) visits.tune(pipe, 0.0, 0.0, 0.0);
    const auto ranks = drifts(visits);
    ASSERT_EQ(ranks.size(), 1U) << "of four reeds nothing can be said";
    EXPECT_EQ(ranks[0].basis, DriftBasis::none);
    EXPECT_FALSE(ranks[0].trend.has_value());
    EXPECT_TRUE(ranks[0].pipes[19].astray);
    EXPECT_NEAR(ranks[0].pipes[19].own.value(), 5.0, 1e-6);
    EXPECT_FALSE(ranks[0].pipes[20].astray);
}

TEST_F(Drift, SeesFewPipesEachForItself) {
    TwoVisits visits(instrument, 18.0, 20.0);
    visits.measure_pitch();
    const auto all = pipes("Open 8'");
    visits.tune(all[10], 0.0, 6.0, 0.0);
    visits.tune(all[20], 0.0, 0.5, 0.0);
    const RankDrift rank = drifts(visits)[0];
    EXPECT_FALSE(rank.trend.has_value());
    ASSERT_EQ(rank.pipes.size(), 2U);
    EXPECT_NEAR(rank.pipes[0].own.value(), 6.0, 1e-6);
    EXPECT_TRUE(rank.pipes[0].astray);
    EXPECT_FALSE(rank.pipes[1].astray);
}

// Whatever the temperatures and whatever is known of them: the same pipes moved by the same.
TEST_F(Drift, IsTheSameInAnyAir) {
    for (const double celsius : {5.0, 18.0, 31.0}) {
        TwoVisits visits(instrument, 18.0, celsius);
        visits.read_thermometers();
        for (const char* stop : {"Open 8'", "Trumpet 8'"})
            for (const organ::Pipe& pipe : pipes(stop))
                visits.tune(pipe, 0.01 * pipe.key, 0.02 * pipe.key, 0.0);
        for (const RankDrift& rank : drifts(visits))
            for (const PipeDrift& pipe : rank.pipes)
                EXPECT_THAT(pipe.drift.value(), DoubleNear(0.02 * pipe.pipe.key, 1e-6));
    }
}

struct Readings : Drift {
    TwoVisits visits{instrument, 18.0, 18.0};
    std::vector<BookEntry> entries;
    PipeId pipe{"great", "open-8", 1, 25};

    void add(BookMatter matter) { entries.push_back({entries.size() + 1, {}, std::move(matter)}); }
    void hear(Moment moment, double deviation) {
        KeptReading one;
        one.pipe = pipe;
        one.moment = moment;
        one.pitch = Hertz{440.0};
        one.target = Hertz{440.0};
        one.deviation = Cents{deviation};
        add(one);
    }
    double found() { return readings_of("v", entries).found.at(pipe).reading.deviation.value(); }
    double left() { return readings_of("v", entries).left.at(pipe).reading.deviation.value(); }
};

TEST_F(Readings, AreThoseBeforeAndAfterTheWork) {
    hear(Moment::survey, 1.0);
    EXPECT_EQ(found(), 1.0);
    EXPECT_EQ(left(), 1.0) << "nobody touched it";
    hear(Moment::before, 2.0);
    EXPECT_EQ(found(), 2.0);
    EXPECT_EQ(left(), 2.0);
    hear(Moment::after, 3.0);
    hear(Moment::after, 0.2);
    hear(Moment::survey, 0.3);
    EXPECT_EQ(found(), 2.0) << "heard again after the work it isn't as found";
    EXPECT_EQ(left(), 0.2);
    add(Withdrawal{4});
    EXPECT_EQ(left(), 3.0);
    add(Withdrawal{6});
    EXPECT_EQ(left(), 0.2) << "the withdrawal was withdrawn";
}

TEST_F(Readings, CarryTheAirAndTheAOfTheirTime) {
    add(PitchReading{Hertz{441.0}, true});
    add(AirReading{{}, Celsius{18.0}, 0.4});
    hear(Moment::before, 1.0);
    add(PitchReading{Hertz{442.0}, false});
    add(AirReading{"swell", Celsius{21.0}, {}});
    hear(Moment::after, 0.0);
    const VisitReadings all = readings_of("v", entries);
    const DatedReading& before = all.found.at(pipe);
    EXPECT_EQ(before.day.pitch, Hertz{441.0});
    EXPECT_TRUE(before.a_measured);
    EXPECT_EQ(before.day.humidity, 0.4);
    EXPECT_TRUE(before.day.places.empty());
    const DatedReading& after = all.left.at(pipe);
    EXPECT_EQ(after.day.pitch, Hertz{442.0});
    EXPECT_FALSE(after.a_measured);
    EXPECT_EQ(organ::temperature_of(after.day, "swell"), Celsius{21.0});
}

}  // namespace drift_test
}  // namespace rankwright::visit
