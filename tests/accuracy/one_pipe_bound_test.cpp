// One pipe in steady noise against the Cramér–Rao bound, and how honest its uncertainty is.
#include "listening/measure.h"
#include "support/coverage.h"
#include "support/pitch_bound.h"
#include "support/results_file.h"
#include "support/tones.h"

#include <optional>
#include <string>
#include <vector>

#include <gtest/gtest.h>

namespace rankwright::testing {
namespace one_pipe_bound_test {

using listening::measure_pipe;
using listening::PitchReading;

constexpr double kRate = 48000.0;
constexpr int kPartials = 8;
constexpr double kLevel = 0.2;
/// RMS error allowed: this times the bound, or kFloorCents (float samples, converters' clocks).
constexpr double kOfBound = 1.1;
constexpr double kFloorCents = 0.001;

double noise_variance(const Tone& tone, double snr_db) {
    return power(tone) / std::pow(10.0, snr_db / 10.0);
}

/// A pitch within half a semitone of `hz`, so that nothing rests on round numbers.
double somewhere_near(double hz, std::mt19937_64& random) {
    std::uniform_real_distribution<double> semitones(-0.5, 0.5);
    return hz * std::exp2(semitones(random) / 12.0);
}

TEST(OnePipeBound, AgreesWithItsClosedFormForLongSpans) {
    std::mt19937_64 random(1);
    for (const double hz : {60.0, 262.0, 2000.0}) {
        const Tone tone = sawtooth_like(hz, kRate, 2.0, kPartials, kLevel, random);
        EXPECT_NEAR(pitch_bound_hz(tone, 1e-4) / long_span_bound_hz(tone, 1e-4), 1.0, 0.01) << hz;
    }
}

struct Grid {
    double hz;
    double seconds;
    int cases;
};

class OnePipeInWhiteNoise : public ::testing::TestWithParam<Grid> {};

TEST_P(OnePipeInWhiteNoise, ReachesTheBound) {
    const Grid at = GetParam();
    auto csv = results_file(
        "white_" + std::to_string(static_cast<int>(at.hz)) + "_" +
            std::to_string(static_cast<int>(1000.0 * at.seconds)),
        "hz,seconds,snr_db,cases,rms_cents,bound_cents,ratio,median_sd_cents,within_1,within_2");
    for (const double snr_db : {10.0, 20.0, 30.0, 40.0}) {
        std::mt19937_64 random(static_cast<std::uint64_t>(at.hz + 10.0 * snr_db));
        Errors errors;
        double bound_square = 0.0;
        for (int i = 0; i < at.cases; ++i) {
            const double hz = somewhere_near(at.hz, random);
            const Tone tone = sawtooth_like(hz, kRate, at.seconds, kPartials, kLevel, random);
            std::vector<float> samples = render(tone);
            add_white(samples, noise_variance(tone, snr_db), random);
            const auto reading = measure_pipe(samples, SampleRate{kRate}, Hertz{at.hz});
            ASSERT_TRUE(reading) << hz << " Hz, " << snr_db << " dB";
            errors.add(cents(hz, reading->pitch.value()), reading->cents_sd().value());
            const double bound = pitch_bound_hz(tone, noise_variance(tone, snr_db));
            bound_square += std::pow(cents(hz, hz + bound), 2) / at.cases;
        }
        const double bound = std::sqrt(bound_square);
        csv << at.hz << ',' << at.seconds << ',' << snr_db << ',' << errors.count() << ','
            << errors.rms() << ',' << bound << ',' << errors.rms() / bound << ','
            << errors.median_uncertainty() << ',' << errors.within(1.0) << ',' << errors.within(2.0)
            << '\n';
        // An RMS of n errors scatters by 1/√(2n): two of those on top of the figure.
        const double chance = 1.0 + 2.0 / std::sqrt(2.0 * at.cases);
        EXPECT_LE(errors.rms(), std::max(kOfBound * bound * chance, kFloorCents))
            << at.hz << " Hz, " << at.seconds << " s, " << snr_db << " dB; bound " << bound;
    }
}

INSTANTIATE_TEST_SUITE_P(Grid, OnePipeInWhiteNoise,
                         ::testing::Values(Grid{60.0, 0.25, 60}, Grid{60.0, 1.0, 25},
                                           Grid{262.0, 0.25, 50}, Grid{262.0, 2.0, 10},
                                           Grid{1000.0, 0.5, 25}, Grid{2000.0, 0.25, 40},
                                           Grid{2000.0, 2.0, 8}),
                         [](const auto& at) {
                             return std::to_string(static_cast<int>(at.param.hz)) + "Hz" +
                                    std::to_string(static_cast<int>(1000 * at.param.seconds)) +
                                    "ms";
                         });

/// Shares within one and two uncertainties, with the room that chance needs at 150 cases: three
/// standard deviations of a binomial share.
void expect_honest(const Errors& errors, const std::string& what) {
    const auto room = [&](double share) {
        return 3.0 * std::sqrt(share * (1.0 - share) / static_cast<double>(errors.count()));
    };
    EXPECT_NEAR(errors.within(1.0), 0.683, room(0.683)) << what;
    EXPECT_NEAR(errors.within(2.0), 0.954, room(0.954)) << what;
}

TEST(OnePipeUncertainty, IsHonestAndTightInWhiteAndColouredNoise) {
    auto csv = results_file("coverage_noise",
                            "noise,hz,seconds,cases,rms_cents,median_sd_cents,"
                            "within_1,within_2");
    std::mt19937_64 random(20);
    for (const std::string& kind : {std::string("white"), std::string("falling")}) {
        for (const auto& [hz, seconds] : {std::pair{65.0, 0.5}, {262.0, 0.5}, {1500.0, 0.3}}) {
            Errors errors;
            for (int i = 0; i < 150; ++i) {
                const double truth = somewhere_near(hz, random);
                const Tone tone = sawtooth_like(truth, kRate, seconds, kPartials, kLevel, random);
                std::vector<float> samples = render(tone);
                const double variance = noise_variance(tone, 15.0);
                if (kind == "white")
                    add_white(samples, variance, random);
                else
                    add_coloured(samples, kRate, variance, 300.0, random);
                const auto reading = measure_pipe(samples, SampleRate{kRate}, Hertz{hz});
                ASSERT_TRUE(reading);
                errors.add(cents(truth, reading->pitch.value()), reading->cents_sd().value());
            }
            csv << kind << ',' << hz << ',' << seconds << ',' << errors.count() << ','
                << errors.rms() << ',' << errors.median_uncertainty() << ',' << errors.within(1.0)
                << ',' << errors.within(2.0) << '\n';
            expect_honest(errors, kind + " noise, " + std::to_string(hz) + " Hz");
        }
    }
}

/// Least-squares slope of a phase in cycles, as a pitch.
double slope_hz(const std::vector<double>& cycles, double rate) {
    const auto n = static_cast<double>(cycles.size());
    double mean = 0.0;
    for (const double c : cycles)
        mean += c / n;
    double tt = 0.0;
    double tc = 0.0;
    for (std::size_t i = 0; i < cycles.size(); ++i) {
        const double t = static_cast<double>(i) - 0.5 * (n - 1.0);
        tt += t * t;
        tc += t * (cycles[i] - mean);
    }
    return tc / tt * rate;
}

struct WanderingTone {
    Tone tone;
    std::vector<double> path;    ///< cents from the tone's pitch, frame by frame
    std::vector<double> cycles;  ///< its fundamental's phase
    std::optional<PitchReading> reading;
};

/// A tone of six partials that wanders by `sd` cents, correlated over `settle` seconds, in white
/// noise `snr_db` under it, and what is read of it with its pitch as the hint.
WanderingTone read_wandering(double hz, double seconds, double sd, double settle, double snr_db,
                             std::mt19937_64& random) {
    constexpr double kLowRate = 24000.0;
    WanderingTone wandering{sawtooth_like(hz, kLowRate, seconds, 6, kLevel, random), {}, {}, {}};
    wandering.path = wander(wandering.tone, sd, settle, random);
    wandering.cycles = cycles_of(wandering.tone, wandering.path);
    std::vector<float> samples = render(wandering.tone, wandering.cycles);
    add_white(samples, noise_variance(wandering.tone, snr_db), random);
    wandering.reading = measure_pipe(samples, SampleRate{kLowRate}, Hertz{hz});
    return wandering;
}

/// Adds by how much the reading misses the slope of the tone's phase.
void add_from_slope(Errors& errors, const WanderingTone& heard) {
    errors.add(cents(slope_hz(heard.cycles, heard.tone.rate), heard.reading->pitch.value()),
               heard.reading->cents_sd().value());
}

TEST(OnePipeUncertainty, WithWanderTheMeanPitchIsFollowed) {
    auto csv = results_file("coverage_wander",
                            "hz,seconds,wander_s,cases,rms_from_slope_cents,rms_from_mean_cents,"
                            "median_sd_cents,slope_within_1,slope_within_2,mean_within_1,"
                            "mean_within_2");
    std::mt19937_64 random(30);
    for (const double hz : {100.0, 262.0, 1000.0}) {
        for (const double settle : {0.15, 0.5}) {
            Errors from_slope;
            Errors from_mean;
            for (int i = 0; i < 20; ++i) {
                const WanderingTone heard = read_wandering(hz, 2.0, 0.3, settle, 30.0, random);
                ASSERT_TRUE(heard.reading);
                double mean = 0.0;
                for (const double c : heard.path)
                    mean += c / static_cast<double>(heard.path.size());
                add_from_slope(from_slope, heard);
                from_mean.add(cents(hz, heard.reading->pitch.value()) - mean,
                              heard.reading->cents_sd().value());
            }
            csv << hz << ",2," << settle << ',' << from_slope.count() << ',' << from_slope.rms()
                << ',' << from_mean.rms() << ',' << from_slope.median_uncertainty() << ','
                << from_slope.within(1.0) << ',' << from_slope.within(2.0) << ','
                << from_mean.within(1.0) << ',' << from_mean.within(2.0) << '\n';
            // The slope of the phase is what is measured: noise and what moves faster than is
            // followed remain. The mean of the pitch itself lies within a third of the wander.
            EXPECT_LE(from_slope.rms(), 0.004) << hz;
            EXPECT_LE(from_mean.rms(), 0.1) << hz;
            EXPECT_GE(from_slope.within(2.0), 0.9) << hz;
        }
    }
}

// A treble that wanders for seconds strays by turns of its phase, not by a part of one.
TEST(OnePipeUncertainty, TheTurnsOfATreblesWanderAreCounted) {
    auto csv = results_file("coverage_wander_trebles",
                            "hz,seconds,cases,rms_from_slope_cents,median_sd_cents,within_2");
    std::mt19937_64 random(33);
    for (const double hz : {1500.0, 3000.0, 5500.0}) {
        for (const double seconds : {2.0, 8.0}) {
            Errors from_slope;
            for (int i = 0; i < 8; ++i) {
                const WanderingTone heard = read_wandering(hz, seconds, 0.4, 0.5, 40.0, random);
                ASSERT_TRUE(heard.reading) << hz << ' ' << seconds;
                add_from_slope(from_slope, heard);
            }
            csv << hz << ',' << seconds << ',' << from_slope.count() << ',' << from_slope.rms()
                << ',' << from_slope.median_uncertainty() << ',' << from_slope.within(2.0) << '\n';
            EXPECT_LE(from_slope.rms(), 0.004) << hz << ' ' << seconds;
            EXPECT_GE(from_slope.within(2.0), 0.9) << hz << ' ' << seconds;
        }
    }
}

}  // namespace one_pipe_bound_test
}  // namespace rankwright::testing
