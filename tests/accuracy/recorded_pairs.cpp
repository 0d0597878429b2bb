#include "accuracy/recorded_pairs.h"

#include "listening/measure.h"
#include "support/phase_slope.h"

#include <cmath>
#include <numbers>
#include <optional>

namespace rankwright::testing {

namespace {

constexpr double kSeconds = 2.4;
constexpr std::size_t kMargin = 4000;  // for the phase slope's windows, and the resampling

double pitch(const std::vector<float>& x, std::size_t at, std::size_t to, double rate,
             double near) {
    // Three times: it wants a start within a few cents, the recordings are some 17 sharp.
    double hz = near * std::exp2(17.0 / 1200.0);
    for (int i = 0; i < 3; ++i)
        hz = phase_slope_pitch(x, at, to, rate, hz).value_or(hz);
    return hz;
}

struct Mixed {
    PairCase truth;
    const std::vector<float>* reference;  // the channel heard, whole
};

struct Drawn {
    double beat, level_db;
    int m, n;
};

std::optional<Mixed> mix(const RecordedPipe& reference, const RecordedPipe& pipe,
                         const Drawn& drawn, std::mt19937_64& random) {
    const auto [first, last] = standing(reference);
    const auto [pipe_first, pipe_last] = standing(pipe);
    const auto count = static_cast<std::size_t>(kSeconds * reference.rate);
    if (last < first + count || pipe_first < kMargin || pipe_last < pipe_first + count / 2)
        return {};
    const std::size_t from = first + random() % (last - first - count + 1);
    const std::vector<float>& a = reference.channels[random() % reference.channels.size()];
    const std::vector<float>& b = pipe.channels[random() % pipe.channels.size()];
    const double alone = pitch(b, pipe_first, pipe_first + count / 2, pipe.rate, pipe.nominal_hz());
    const double hz = pitch(a, from, from + count, reference.rate, reference.nominal_hz());
    const double wanted = (drawn.m * hz + drawn.beat) / drawn.n;
    const double ratio = wanted / alone;
    const auto needed = static_cast<std::size_t>(static_cast<double>(count + 2 * kMargin) * ratio);
    if (pipe_last < pipe_first + needed) return {};
    const std::vector<float> moved =
        resampled(std::span(b).subspan(pipe_first - kMargin, needed + 200), ratio);
    const auto pipe_hz = phase_slope_pitch(moved, kMargin, kMargin + count, pipe.rate, wanted);
    if (!pipe_hz) return {};
    const std::span own(a.data() + from, count), other(moved.data() + kMargin, count);
    const auto power = [](std::span<const float> x) {
        double sum = 0.0;
        for (const float value : x)
            sum += static_cast<double>(value) * static_cast<double>(value);
        return sum;
    };
    const auto gain = static_cast<float>(std::sqrt(power(own) / power(other)) *
                                         std::pow(10.0, drawn.level_db / 20.0));
    Mixed mixed{{}, &a};
    mixed.truth.rate = reference.rate;
    mixed.truth.reference_hz = hz;
    mixed.truth.pipe_hz = *pipe_hz;
    mixed.truth.beat = drawn.n * *pipe_hz - drawn.m * hz;
    for (std::size_t i = 0; i < count; ++i)
        mixed.truth.samples.push_back(0.4F * (own[i] + gain * other[i]));
    return mixed;
}

std::optional<listening::PairRequest> request_for(const Mixed& mixed, const RecordedPairs& wanted,
                                                  std::mt19937_64& random) {
    const PairCase& truth = mixed.truth;
    const Hertz finest{0.05 * truth.reference_hz * std::numbers::ln2 / 1200.0};
    std::normal_distribution<double> normal;
    listening::PairRequest request;
    request.rate = SampleRate{truth.rate};
    request.reference_partial = wanted.reference_partial;
    request.pipe_partial = wanted.pipe_partial;
    request.reference_sd = finest;
    switch (wanted.known) {
        case KnownBy::moment_ago:
            request.reference = Hertz{truth.reference_hz} + finest * normal(random);
            break;
        case KnownBy::number:
            request.reference = Hertz{truth.reference_hz} + finest * (6.0 * normal(random));
            request.reference_sd =
                transpose(request.reference, listening::kDoubtOfNumber) - request.reference;
            break;
        case KnownBy::recording: {
            const auto alone = listening::measure_pipe(*mixed.reference, request.rate);
            if (!alone) return {};
            request.reference = alone->pitch;
            request.reference_sd = alone->sd;
            break;
        }
    }
    return request;
}

}  // namespace

bool judge_recorded(PairRow& row, const RecordedPairs& wanted, std::mt19937_64& random) {
    const auto pipes = recorded_pipes(wanted.ranks, wanted.lowest, wanted.highest);
    const auto references =
        wanted.reference_ranks.empty()
            ? pipes
            : recorded_pipes(wanted.reference_ranks, wanted.lowest, wanted.highest);
    const auto between = [&](double a, double b) {
        return std::uniform_real_distribution<double>(a, b)(random);
    };
    int cases = 0;
    for (int attempt = 0; attempt < 100 * wanted.count && cases < wanted.count; ++attempt) {
        const RecordedPipe& reference = references[random() % references.size()];
        const RecordedPipe& pipe = pipes[random() % pipes.size()];
        const double apart = 12.0 * std::log2(pipe.nominal_hz() * wanted.pipe_partial /
                                              (reference.nominal_hz() * wanted.reference_partial));
        if (std::abs(apart) > 1.3) continue;  // resampled further, its character isn't its own
        Drawn drawn{wanted.slowest * std::pow(wanted.fastest / wanted.slowest, between(0.0, 1.0)),
                    between(-wanted.level_db, wanted.level_db), wanted.reference_partial,
                    wanted.pipe_partial};
        if (random() % 2 == 0) drawn.beat = -drawn.beat;
        const auto mixed = mix(reference, pipe, drawn, random);
        if (!mixed) continue;
        const auto request = request_for(*mixed, wanted, random);
        if (!request) continue;
        ++cases;
        row.judge(
            reference.name() + " and " + pipe.name() + " " + std::to_string(drawn.level_db) + " dB",
            mixed->truth, *request);
    }
    return cases == wanted.count;
}

}  // namespace rankwright::testing
