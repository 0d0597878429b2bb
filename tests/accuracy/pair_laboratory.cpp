// A reference and a pipe sounding together, against what is true of each alone: synthetic pairs
// against the exact two-tone Cramér–Rao bound, recorded pipes (open data) against the slopes of
// their own phases, found by another method before they are mixed.
#include "accuracy/pair_cases.h"
#include "listening/pair.h"
#include "support/coverage.h"
#include "support/phase_slope.h"
#include "support/recordings.h"
#include "support/results_file.h"

#include <array>
#include <cmath>
#include <numbers>

#include <gtest/gtest.h>

namespace rankwright::testing {
namespace {

/// How a row of cases came out.
class Row {
  public:
    explicit Row(const std::string& name)
        : csv_(results_file("pair_" + name, "case,beat,heard,sd,under,error,bound")), name_(name) {}

    void judge(const std::string& what, const PairCase& truth,
               const listening::PairRequest& request, double bound = 0.0) {
        ++cases_;
        const auto reading = listening::measure_pair(truth.samples, request);
        if (!reading) return;
        const double error = reading->beat.value() - truth.beat;
        const double cent =
            request.reference_partial * truth.reference_hz * std::numbers::ln2 / 1200.0;
        errors_.add(error, reading->beat_sd.value());
        sum_ += error;
        if (std::abs(error) <= std::max(0.05, 0.1 * cent)) ++within_;
        const bool right = (reading->beat.value() > 0.0) == (truth.beat > 0.0);
        if (std::abs(truth.beat) > 0.1 * cent) {
            ++signed_;
            right_ += right ? 1 : 0;
            if (!reading->under) {
                ++shown_;
                shown_right_ += right ? 1 : 0;
            }
        }
        if (bound > 0.0 && bound < 0.1 * std::abs(truth.beat)) {
            const double allowed = std::max(1.3 * bound, 0.001 * cent);
            excess_ += error * error / (allowed * allowed);
            ++bounded_;
        }
        csv_ << what << ',' << truth.beat << ',' << reading->beat.value() << ','
             << reading->beat_sd.value() << ',' << (reading->under ? 1 : 0) << ',' << error << ','
             << bound << '\n';
    }

    /// Prints the row, and checks what holds for all: answers given, signs right.
    void finish() const {
        std::printf(
            "%s: %zu of %d read; median %.4f, 95 %% %.4f a second; within tolerance %.3f; sign "
            "right %d of %d, shown %d of %d; within 1 sd %.2f, 2 sd %.2f; rms over allowed %.2f\n",
            name_.c_str(), errors_.count(), cases_, errors_.median(), errors_.worst_of_20(),
            tolerable(), right_, signed_, shown_right_, shown_, errors_.within(1.0),
            errors_.within(2.0), over_allowed());
        EXPECT_GE(static_cast<double>(errors_.count()), 0.98 * cases_);
        EXPECT_GE(static_cast<double>(right_), 0.98 * signed_);
        EXPECT_GE(static_cast<double>(shown_right_), 0.995 * shown_);
        EXPECT_GE(static_cast<double>(shown_), 0.75 * signed_);  // abstaining doesn't pay
    }
    const Errors& errors() const { return errors_; }
    double tolerable() const { return within_ / static_cast<double>(errors_.count()); }
    double over_allowed() const { return bounded_ > 0 ? std::sqrt(excess_ / bounded_) : 0.0; }
    double mean() const { return sum_ / static_cast<double>(errors_.count()); }

  private:
    std::ofstream csv_;
    std::string name_;
    Errors errors_;
    int cases_ = 0, signed_ = 0, right_ = 0, shown_ = 0, shown_right_ = 0, bounded_ = 0;
    double within_ = 0.0, excess_ = 0.0, sum_ = 0.0;
};

constexpr std::array<std::array<int, 2>, 8> kIntervals{
    {{1, 1}, {1, 1}, {1, 1}, {2, 1}, {3, 1}, {3, 2}, {4, 3}, {5, 4}}};

SyntheticPair draw_pair(std::mt19937_64& random) {
    const auto between = [&](double a, double b) {
        return std::uniform_real_distribution<double>(a, b)(random);
    };
    SyntheticPair pair;
    const auto& interval = kIntervals[random() % kIntervals.size()];
    pair.reference_partial = interval[0];
    pair.pipe_partial = interval[1];
    pair.reference_hz = 65.0 * std::exp2(between(0.0, interval[0] > 1 ? 2.5 : 4.5));
    const double fastest = std::min(12.0, 0.1 * pair.reference_hz / pair.pipe_partial);
    pair.beat = 0.05 * std::pow(fastest / 0.05, between(0.0, 1.0));
    if (random() % 2 == 0) pair.beat = -pair.beat;
    pair.level_db = between(-20.0, 20.0);
    pair.snr_db = between(20.0, 50.0);
    pair.seconds = 0.6 * std::pow(6.0, between(0.0, 1.0));
    return pair;
}

/// The reference known to a tenth of a cent.
listening::PairRequest request_for(const SyntheticPair& pair, double hz, std::mt19937_64& random) {
    const double sd = 0.1 * hz * std::numbers::ln2 / 1200.0;
    return {SampleRate{pair.rate}, Hertz{hz + std::normal_distribution<double>(0.0, sd)(random)},
            Hertz{sd}, pair.reference_partial, pair.pipe_partial};
}

std::string describe(const SyntheticPair& pair) {
    return std::to_string(pair.reference_hz) + " Hz " + std::to_string(pair.reference_partial) +
           ":" + std::to_string(pair.pipe_partial) + " " + std::to_string(pair.level_db) + " dB " +
           std::to_string(pair.seconds) + " s";
}

TEST(SyntheticPairs, ReachTheBound) {
    std::mt19937_64 random(301);
    Row row("steady");
    for (int i = 0; i < 50; ++i) {
        const SyntheticPair pair = draw_pair(random);
        auto phases = random;  // the bound depends on the phases that are drawn next
        const PairCase truth = render(pair, random);
        const auto request = request_for(pair, pair.reference_hz, random);
        const double bound = beat_bound(pair, request.reference_sd.value(), phases);
        row.judge(describe(pair), truth, request, bound);
    }
    row.finish();
    EXPECT_LE(row.over_allowed(), 1.0);
}

TEST(SyntheticPairs, WanderingOrInARoomOrInBlowerNoise) {
    std::mt19937_64 random(302);
    Row wander("wander"), room("room"), blower("blower");
    for (int i = 0; i < 54; ++i) {
        SyntheticPair pair = draw_pair(random);
        pair.seconds = 2.4;
        if (i % 3 == 0) pair.wander_cents = 0.3;
        if (i % 3 == 1) pair.room = true;
        if (i % 3 == 2) {
            pair.noise_corner_hz = 100.0;
            pair.snr_db -= 10.0;
        }
        const PairCase truth = render(pair, random);
        Row& row = i % 3 == 0 ? wander : i % 3 == 1 ? room : blower;
        row.judge(describe(pair), truth, request_for(pair, truth.reference_hz, random));
    }
    for (const Row* row : {&wander, &room, &blower}) {
        row->finish();
        const double of_mean = row->errors().rms() / std::sqrt(row->errors().count());
        EXPECT_LE(std::abs(row->mean()), 3.0 * of_mean);
        EXPECT_GE(row->tolerable(), 0.94);
    }
}

/// One pipe played at another pitch, and the reference, mixed. Means are those over the span.
std::optional<PairCase> mix(const RecordedPipe& reference, const RecordedPipe& pipe, int octave,
                            double beat, double level_db, std::mt19937_64& random) {
    constexpr double kSeconds = 2.4;
    constexpr std::size_t kMargin = 4000;  // for the phase slope's windows, and the resampling
    const auto [first, last] = standing(reference);
    const auto [pipe_first, pipe_last] = standing(pipe);
    const auto count = static_cast<std::size_t>(kSeconds * reference.rate);
    const auto pitch = [](const std::vector<float>& x, std::size_t at, std::size_t to, double rate,
                          double near) {
        // Three times: it wants a start within a few cents, the recordings are some 17 sharp.
        double hz = near * std::exp2(17.0 / 1200.0);
        for (int i = 0; i < 3; ++i)
            hz = phase_slope_pitch(x, at, to, rate, hz).value_or(hz);
        return hz;
    };
    if (last < first + count) return {};
    const std::size_t from = first + random() % (last - first - count + 1);
    const std::vector<float>& a = reference.channels[random() % reference.channels.size()];
    const std::vector<float>& b = pipe.channels[random() % pipe.channels.size()];
    const double alone = pitch(b, pipe_first, pipe_first + count / 2, pipe.rate, pipe.nominal_hz());
    const double hz = pitch(a, from, from + count, reference.rate, reference.nominal_hz());
    const double ratio = (octave * hz + beat) / alone;
    const auto needed = static_cast<std::size_t>(static_cast<double>(count + 2 * kMargin) * ratio);
    if (pipe_first < kMargin || pipe_last < pipe_first + needed) return {};
    const std::vector<float> shifted_pipe =
        resampled(std::span(b).subspan(pipe_first - kMargin, needed + 200), ratio);
    const auto pipe_hz =
        phase_slope_pitch(shifted_pipe, kMargin, kMargin + count, pipe.rate, octave * hz + beat);
    if (!pipe_hz) return {};
    double power_a = 0.0, power_b = 0.0;
    for (std::size_t n = 0; n < count; ++n) {
        power_a += static_cast<double>(a[from + n]) * static_cast<double>(a[from + n]);
        power_b += static_cast<double>(shifted_pipe[kMargin + n]) *
                   static_cast<double>(shifted_pipe[kMargin + n]);
    }
    const double gain = std::sqrt(power_a / power_b) * std::pow(10.0, level_db / 20.0);
    PairCase truth;
    truth.rate = reference.rate;
    truth.reference_hz = hz;
    truth.pipe_hz = *pipe_hz;
    truth.beat = *pipe_hz - octave * hz;
    for (std::size_t n = 0; n < count; ++n)
        truth.samples.push_back(
            0.4F * (a[from + n] + static_cast<float>(gain) * shifted_pipe[kMargin + n]));
    return truth;
}

/// `octave` 1: pipes of the same or the next key, tuned together; 2: a reed against itself.
void judge_recorded(Row& row, int octave, int wanted, std::mt19937_64& random) {
    const auto pipes = recorded_pipes({"Montre8", "Trompette8"});
    const auto between = [&](double a, double b) {
        return std::uniform_real_distribution<double>(a, b)(random);
    };
    int cases = 0;
    for (int attempt = 0; attempt < 40 * wanted && cases < wanted; ++attempt) {
        const RecordedPipe& reference = pipes[random() % pipes.size()];
        const RecordedPipe& pipe = pipes[random() % pipes.size()];
        const int apart = pipe.midi - reference.midi - (octave == 2 ? 12 : 0);
        if (std::abs(apart) > (octave == 2 ? 0 : 1)) continue;
        if (octave == 2 && (reference.rank != pipe.rank || reference.midi > 70)) continue;
        double beat = 0.1 * std::pow(50.0, between(0.0, 1.0));
        if (random() % 2 == 0) beat = -beat;
        const double level = between(-12.0, 12.0);
        const auto truth = mix(reference, pipe, octave, beat, level, random);
        if (!truth) continue;
        ++cases;
        const double sd = 0.05 * truth->reference_hz * std::numbers::ln2 / 1200.0;
        listening::PairRequest request;
        request.rate = SampleRate{truth->rate};
        request.reference =
            Hertz{truth->reference_hz + std::normal_distribution<double>(0.0, sd)(random)};
        request.reference_sd = Hertz{sd};
        request.reference_partial = octave;
        row.judge(reference.name() + " and " + pipe.name() + " " + std::to_string(level) + " dB",
                  *truth, request);
    }
    ASSERT_EQ(cases, wanted);
}

TEST(RecordedPairs, Unison) {
    std::mt19937_64 random(303);
    Row row("recorded_unison");
    judge_recorded(row, 1, 60, random);
    row.finish();
    EXPECT_LE(row.errors().median(), 0.008);
    EXPECT_GE(row.tolerable(), 0.95);
}

TEST(RecordedPairs, OctaveOfTheSameRank) {
    std::mt19937_64 random(304);
    Row row("recorded_octave");
    judge_recorded(row, 2, 20, random);
    row.finish();
    EXPECT_LE(row.errors().median(), 0.008);
    EXPECT_GE(row.tolerable(), 0.95);
}

}  // namespace
}  // namespace rankwright::testing
