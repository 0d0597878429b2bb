// The live ear on recorded pipes (open data), streamed in odd pieces: what it says a while after
// the onset, against the phase slope of the same span (phase_slope.h, a method of the test's own).
#include "listening/pipe_listener.h"
#include "support/coverage.h"
#include "support/phase_slope.h"
#include "support/recordings.h"
#include "support/results_file.h"
#include "support/tones.h"

#include <optional>

#include <gtest/gtest.h>

namespace rankwright::testing {
namespace live_recorded_test {

struct LiveFigure {
    double after_s;            ///< the onset
    double answered;           ///< share, at least
    double median_cents;       ///< at most
    double worst_of_20_cents;  ///< 95 % lie within
};

constexpr int kMoments = 6;
constexpr double kApart_s = 0.05;

/// The readings that stand `after_s` after the tone began and at the moments after that; empty
/// where there is none then.
std::vector<std::optional<listening::PitchReading>> listen(const RecordedPipe& pipe,
                                                           std::size_t channel, double after_s) {
    listening::PipeListener listener({SampleRate{pipe.rate}, 1});
    listener.expect(Hertz{pipe.nominal_hz()});
    const std::vector<float>& sound = pipe.channels[channel];
    std::vector<std::optional<listening::PitchReading>> readings;
    constexpr std::size_t kOddPiece = 443;
    for (std::size_t at = 0; at + kOddPiece <= sound.size(); at += kOddPiece) {
        listener.process({static_cast<std::int64_t>(at)}, {&sound[at], kOddPiece});
        const listening::Hearing& hearing = listener.hearing();
        const double heard_s = duration(hearing.now - hearing.tone_began, hearing.rate).count();
        const double wanted_s = after_s + kApart_s * static_cast<double>(readings.size());
        if (hearing.tone == 0 || heard_s < wanted_s) continue;
        readings.push_back(hearing.reading);
        if (readings.size() == kMoments) break;
    }
    readings.resize(kMoments);
    return readings;
}

class LiveOnARecordedPipe : public ::testing::TestWithParam<LiveFigure> {};

// The ear says the pitch now: the reference is the mean pitch of the span that the reading rests
// on, and at least of the last 0.1 s, which the reference needs for itself.
TEST_P(LiveOnARecordedPipe, AgreesWithThePhaseSlopeOfTheSameSpan) {
    const LiveFigure figure = GetParam();
    auto csv =
        results_file("live_recorded_" + std::to_string(static_cast<int>(1000 * figure.after_s)),
                     "pipe,channel,to,seconds,hz,reference_hz,error_cents,sd_cents");
    Errors errors;
    int cases = 0;
    for (const RecordedPipe& pipe : recorded_pipes({"Montre8", "Trompette8"}))
        for (std::size_t channel = 0; channel < pipe.channels.size(); ++channel) {
            for (const auto& reading : listen(pipe, channel, figure.after_s)) {
                ++cases;
                if (!reading) continue;
                const double hz = reading->pitch.value();
                const auto to = static_cast<std::size_t>(reading->to.value);
                const auto from = std::min(static_cast<std::size_t>(reading->from.value),
                                           to - static_cast<std::size_t>(0.1 * pipe.rate));
                const auto reference =
                    phase_slope_pitch(pipe.channels[channel], from, to, pipe.rate, hz);
                ASSERT_TRUE(reference) << pipe.name();
                const double sd = reading->cents_sd().value();
                errors.add(cents(*reference, hz), sd);
                csv << pipe.name() << ',' << channel << ',' << to << ','
                    << static_cast<double>(to - from) / pipe.rate << ',' << hz << ',' << *reference
                    << ',' << cents(*reference, hz) << ',' << sd << '\n';
            }
        }
    ASSERT_GT(cases, 30);
    std::printf(
        "from %.1f s: %zu of %d read, median %.4f, 95 %% %.4f cents; within 1 sd %.2f, 2 sd "
        "%.2f; median sd %.4f\n",
        figure.after_s, errors.count(), cases, errors.median(), errors.worst_of_20(),
        errors.within(1.0), errors.within(2.0), errors.median_uncertainty());
    EXPECT_GE(static_cast<double>(errors.count()), figure.answered * cases);
    EXPECT_LE(errors.median(), figure.median_cents);
    EXPECT_LE(errors.worst_of_20(), figure.worst_of_20_cents);
    EXPECT_GE(errors.within(1.0), 0.6);
    EXPECT_LE(errors.within(1.0), 0.94);
    EXPECT_GE(errors.within(2.0), 0.88);
}

INSTANTIATE_TEST_SUITE_P(Moments, LiveOnARecordedPipe,
                         ::testing::Values(LiveFigure{0.5, 0.85, 0.2, 1.4},
                                           LiveFigure{1.2, 0.98, 0.1, 0.7},
                                           LiveFigure{2.4, 0.98, 0.07, 0.8}));

}  // namespace live_recorded_test
}  // namespace rankwright::testing
