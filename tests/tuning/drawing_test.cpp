// Drawing told apart by what the ear measured of a simulated chamber, and by evidence given.
#include "tuning/drawing.h"

#include "listening/measure.h"
#include "simulator/one_of_each.h"

#include <map>

#include <gtest/gtest.h>

namespace rankwright::tuning {
namespace drawing_test {

using listening::BeatReading;
using simulator::Chamber;

constexpr int kKey = 25;  // middle C
const PipeId kReference{"great", "open", 1, kKey};
const PipeId kPipe{"great", "tapered", 1, kKey};
constexpr double kSpan_s = 2.4;

/// Moves the pipe's device until it stands `cents` from the reference.
void set_apart(Chamber& chamber, double cents) {
    double up = 0.0;
    double slope = -1.0;  // cents a millimetre; a sleeve moved up flattens
    for (int i = 0; i < 30; ++i) {
        const double off =
            interval(chamber.true_pitch(kReference), chamber.true_pitch(kPipe)).value() - cents;
        if (std::abs(off) < 0.005) return;
        const double before = interval(Hertz{1.0}, chamber.true_pitch(kPipe)).value();
        up = -off / slope;
        chamber.move_device(kPipe, Millimetres{up});
        slope = (interval(Hertz{1.0}, chamber.true_pitch(kPipe)).value() - before) / up;
    }
    FAIL() << "the pipe can't be set";
}

/// The stops drawn are heard over kSpan_s once they stand; true cycles of each in that span.
struct Heard {
    std::vector<float> samples;
    double reference_hz = 0.0;
    double pipe_hz = 0.0;
};

Heard hear(Chamber& chamber, bool reference, bool pipe) {
    chamber.draw_stop("great", "open", reference);
    chamber.draw_stop("great", "tapered", pipe);
    simulator::heard(chamber, 2.5);
    const double r = chamber.cycles(kReference).value_or(0.0);
    const double p = chamber.cycles(kPipe).value_or(0.0);
    Heard heard{simulator::heard(chamber, kSpan_s)};
    heard.reference_hz = (chamber.cycles(kReference).value_or(0.0) - r) / kSpan_s;
    heard.pipe_hz = (chamber.cycles(kPipe).value_or(0.0) - p) / kSpan_s;
    return heard;
}

std::optional<listening::PitchReading> alone(Chamber& chamber, bool reference) {
    const Heard heard = hear(chamber, reference, !reference);
    const double near = reference ? heard.reference_hz : heard.pipe_hz;
    return listening::measure_pipe(heard.samples, SampleRate{48000.0}, Hertz{std::round(near)});
}

struct Case {
    Drawing verdict;
    double true_beat;  ///< together, cents
};

Case run_case(std::uint64_t seed, double drawing, double apart) {
    Chamber::Parameters parameters;
    parameters.seed = seed;
    parameters.mistuning = Cents{0.0};
    parameters.handling = 0.0;
    parameters.drawing = Cents{drawing};
    Chamber chamber(simulator::one_of_each(), parameters);
    set_apart(chamber, apart);
    chamber.key_down("great", kKey);
    DrawingEvidence evidence;
    evidence.reference = alone(chamber, true);
    evidence.pipe = alone(chamber, false);
    const Heard both = hear(chamber, true, true);
    if (evidence.reference) {
        listening::PairRequest request;
        request.reference = evidence.reference->pitch;
        request.reference_sd = evidence.reference->sd;
        evidence.together = listening::measure_pair(both.samples, request);
        evidence.as_one =
            listening::measure_pipe(both.samples, SampleRate{48000.0}, evidence.reference->pitch);
        evidence.stray = usual_stray(evidence.reference->pitch, Seconds{kSpan_s});
    }
    const double true_beat = interval(Hertz{both.reference_hz}, Hertz{both.pipe_hz}).value();
    const DrawingVerdict verdict = judge_drawing(evidence);
    std::printf(
        "seed %d drawing %.1f apart %5.2f: alone %5.2f, truly together %6.3f, as one "
        "%.1f dB: %s\n",
        int(seed), drawing, apart, verdict.alone.value_or(Cents{99}).value(), true_beat,
        evidence.as_one ? evidence.as_one->snr.value() : -99.0, verdict.advice.c_str());
    return {verdict.drawing, true_beat};
}

constexpr std::uint64_t kSeeds = 8;

TEST(Drawing, PipesThatDoNotDrawRaiseNoAlarm) {
    std::map<Drawing, int> said;
    for (std::uint64_t seed = 1; seed <= kSeeds; ++seed)
        for (const double apart : {-5.0, -1.0, 3.0})
            ++said[run_case(seed, 0.0, apart).verdict];
    const int all = 3 * int(kSeeds);
    RecordProperty("not_drawn", said[Drawing::not_drawn]);
    RecordProperty("unclear", said[Drawing::unclear]);
    // 0.3 % a case by the stated risk: none of 24, but for one case in fourteen runs.
    EXPECT_EQ(said[Drawing::not_drawn] + said[Drawing::unclear], all);
    EXPECT_GE(said[Drawing::not_drawn], all * 8 / 10);
}

TEST(Drawing, PulledTogetherIsRecognised) {
    int right = 0, all = 0, wrong = 0;
    for (std::uint64_t seed = 1; seed <= kSeeds; ++seed) {
        for (const double apart : {-3.0, 2.5}) {
            const Case c = run_case(seed, 4.0, apart);
            if (std::abs(c.true_beat) > 0.1) continue;  // the wander tore them apart
            ++all;
            right += c.verdict == Drawing::pulled_together ? 1 : 0;
            wrong += c.verdict == Drawing::not_drawn ? 1 : 0;
        }
    }
    RecordProperty("pulled_together", right);
    RecordProperty("of", all);
    EXPECT_GE(all, 3 * int(kSeeds) / 2);
    EXPECT_GE(right, all * 9 / 10);
    EXPECT_EQ(wrong, 0);
}

listening::PitchReading pitch(double hz, double sd) {
    listening::PitchReading reading;
    reading.pitch = Hertz{hz};
    reading.sd = Hertz{sd};
    return reading;
}

BeatReading beat(double hz, double sd, std::optional<double> under = std::nullopt) {
    BeatReading reading;
    reading.reference = Hertz{262.0};
    reading.pipe = Hertz{262.0 + hz};
    reading.beat = Hertz{hz};
    reading.beat_sd = Hertz{sd};
    if (under) reading.under = Hertz{*under};
    return reading;
}

TEST(Drawing, WithoutThePipeAloneItAsksForIt) {
    DrawingEvidence evidence;
    evidence.reference = pitch(262.0, 0.01);
    evidence.together = beat(0.0, 0.01, 0.02);
    EXPECT_EQ(judge_drawing(evidence).drawing, Drawing::hear_alone);
    EXPECT_NE(judge_drawing(evidence).advice.find("hear the pipe alone"), std::string::npos);
}

// Invented evidence: alone 0.9 a second apart (6 cents).
TEST(Drawing, TellsNearerFromApartAndUnclear) {
    DrawingEvidence evidence;
    evidence.reference = pitch(262.0, 0.005);
    evidence.pipe = pitch(262.9, 0.005);
    const auto verdict = [&](const BeatReading& together) {
        evidence.together = together;
        return judge_drawing(evidence).drawing;
    };
    EXPECT_EQ(verdict(beat(0.9, 0.01)), Drawing::not_drawn);
    EXPECT_EQ(verdict(beat(0.5, 0.01)), Drawing::drawn_nearer);
    EXPECT_EQ(verdict(beat(1.3, 0.01)), Drawing::pushed_apart);
    EXPECT_EQ(verdict(beat(0.01, 0.02, 0.05)), Drawing::pulled_together);
    EXPECT_EQ(verdict(beat(-0.02, 0.005)), Drawing::pulled_together);
    EXPECT_EQ(verdict(beat(0.2, 0.3, 0.8)), Drawing::unclear);
    EXPECT_EQ(verdict(beat(0.9, 0.3)), Drawing::unclear);
    evidence.pipe->sd = Hertz{0.4};
    EXPECT_EQ(verdict(beat(0.01, 0.01, 0.03)), Drawing::unclear);
}

}  // namespace drawing_test
}  // namespace rankwright::tuning
