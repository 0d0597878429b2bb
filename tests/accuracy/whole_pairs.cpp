#include "accuracy/whole_pairs.h"

#include "listening/pair/span.h"
#include "support/phase_slope.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <cstdio>
#include <iterator>
#include <numbers>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

namespace rankwright::testing {

namespace {

constexpr double kBefore_s = 0.4;  // of noise, before the first begins and after the last ends
constexpr double kLeastStands_s = 3.2;
constexpr double kBuildsUp_s = 0.25;  // of this a phase slope says nothing
constexpr double kNoise_db = -45.0;   // under the reference
constexpr double kLeastOfBoth_s = 1.6;
constexpr double kLeastHeard_s = 0.5;  // of both, for a pitch of each

using Sound = std::vector<float>;

/// Frames between which its power is over half of what is usual.
std::pair<std::size_t, std::size_t> sounds(const Sound& x, double rate) {
    const auto hop = static_cast<std::size_t>(0.05 * rate);
    std::vector<double> power;
    for (std::size_t at = 0; at + hop <= x.size(); at += hop) {
        double sum = 0.0;
        for (std::size_t i = at; i < at + hop; ++i)
            sum += static_cast<double>(x[i]) * static_cast<double>(x[i]);
        power.push_back(sum);
    }
    if (power.empty()) return {};
    const double most = *std::max_element(power.begin(), power.end());
    std::vector<double> loud;
    std::copy_if(power.begin(), power.end(), std::back_inserter(loud),
                 [&](double p) { return p > 0.1 * most; });
    if (loud.empty()) return {};
    std::nth_element(loud.begin(), loud.begin() + static_cast<std::ptrdiff_t>(loud.size() / 2),
                     loud.end());
    const double usual = loud[loud.size() / 2];
    const auto stands = [&](double p) { return p > 0.5 * usual; };
    const auto first = std::find_if(power.begin(), power.end(), stands) - power.begin();
    const auto after = std::find_if(power.rbegin(), power.rend(), stands) - power.rbegin();
    return {static_cast<std::size_t>(first) * hop,
            (power.size() - static_cast<std::size_t>(after)) * hop};
}

double power(const Sound& x, std::pair<std::size_t, std::size_t> part) {
    double sum = 0.0;
    for (std::size_t i = part.first; i < part.second; ++i)
        sum += static_cast<double>(x[i]) * static_cast<double>(x[i]);
    return sum / static_cast<double>(part.second - part.first);
}

std::optional<double> alone_pitch(const Sound& x, std::pair<std::size_t, std::size_t> part,
                                  double rate, double near) {
    std::optional<double> hz;
    for (int again = 0; again < 2; ++again) {  // it wants a start within a few cents
        hz = phase_slope_pitch(x, part.first, part.second, rate, hz.value_or(near));
        if (!hz) return hz;
    }
    return hz;
}

struct Whole {
    std::array<Sound, 2> alone;  // of the reference and the pipe, as they are in the mix
    std::array<std::pair<std::size_t, std::size_t>, 2> stands;
    std::array<double, 2> hz{};
    Sound mix;
};

std::optional<Whole> mix_whole(const RecordedPipe& reference, const RecordedPipe& pipe, double beat,
                               double level_db, std::mt19937_64& random) {
    const double rate = reference.rate;
    const auto between = [&](double a, double b) {
        return std::uniform_real_distribution<double>(a, b)(random);
    };
    const auto frames = [&](double s) { return static_cast<std::size_t>(std::lround(s * rate)); };
    std::array<Sound, 2> x{reference.channels[random() % reference.channels.size()],
                           pipe.channels[random() % pipe.channels.size()]};
    std::array<std::pair<std::size_t, std::size_t>, 2> stands{sounds(x[0], rate),
                                                              sounds(x[1], rate)};
    std::array<double, 2> hz{};
    constexpr double kSharp = 17.0;  // the recordings are some cents sharp
    for (const std::size_t i : {std::size_t{0}, std::size_t{1}}) {
        if (stands[i].second < stands[i].first + frames(kLeastStands_s)) return {};
        const double nominal = (i == 0 ? reference : pipe).nominal_hz();
        // A stretch tells well enough how far to resample.
        const std::size_t middle = (stands[i].first + stands[i].second) / 2;
        const auto alone = alone_pitch(x[i], {middle - frames(0.4), middle + frames(0.4)}, rate,
                                       nominal * std::exp2(kSharp / 1200.0));
        if (!alone) return {};
        hz[i] = *alone;
    }
    x[1] = resampled(x[1], (hz[0] + beat) / hz[1]);
    hz[1] = hz[0] + beat;
    stands[1] = sounds(x[1], rate);
    const double gain = std::pow(10.0, level_db / 20.0) *
                        std::sqrt(power(x[0], stands[0]) / power(x[1], stands[1]));
    for (float& value : x[1])
        value = static_cast<float>(gain * static_cast<double>(value));

    const auto mode = random() % 3;  // together, one joins late, one is let go early
    const std::size_t who = random() % 2;
    std::array<std::size_t, 2> lag{};
    const std::size_t begins = std::max(stands[0].first, stands[1].first);
    double both_s = 1e9;
    for (const std::size_t i : {std::size_t{0}, std::size_t{1}}) {
        lag[i] = frames(kBefore_s) + begins - stands[i].first + frames(between(0.0, 0.05));
        both_s = std::min(both_s, static_cast<double>(stands[i].second - stands[i].first) / rate);
    }
    const double apart_s = between(1.0, std::min(2.5, both_s - kLeastOfBoth_s));
    if (mode == 1) lag[who] += frames(apart_s);
    Whole whole;
    whole.hz = hz;
    std::size_t all = 0;
    for (const std::size_t i : {std::size_t{0}, std::size_t{1}}) {
        all = std::max(all, lag[i] + x[i].size() + frames(kBefore_s));
        whole.stands[i] = {stands[i].first + lag[i], stands[i].second + lag[i]};
    }
    for (const std::size_t i : {std::size_t{0}, std::size_t{1}}) {
        whole.alone[i].assign(all, 0.0F);
        std::copy(x[i].begin(), x[i].end(),
                  whole.alone[i].begin() + static_cast<std::ptrdiff_t>(lag[i]));
    }
    if (mode == 2) {
        const std::size_t ends = whole.stands[1 - who].second - frames(apart_s);
        whole.stands[who].second = std::min(whole.stands[who].second, ends);
        const double dies_s = between(0.04, 0.15);
        for (std::size_t n = whole.stands[who].second; n < all; ++n)
            whole.alone[who][n] *= static_cast<float>(
                std::exp(-static_cast<double>(n - whole.stands[who].second) / rate / dies_s));
    }
    std::normal_distribution<double> noise(
        0.0, std::sqrt(power(whole.alone[0], whole.stands[0])) * std::pow(10.0, kNoise_db / 20.0));
    for (std::size_t n = 0; n < all; ++n)
        whole.mix.push_back(
            0.3F * (whole.alone[0][n] + whole.alone[1][n] + static_cast<float>(noise(random))));
    return whole;
}

}  // namespace

bool judge_whole(PairRow& row, const RecordedPairs& wanted, std::mt19937_64& random) {
    const auto pipes = recorded_pipes(wanted.ranks, wanted.lowest, wanted.highest);
    const auto between = [&](double a, double b) {
        return std::uniform_real_distribution<double>(a, b)(random);
    };
    std::normal_distribution<double> normal;
    int cases = 0;
    for (int attempt = 0; attempt < 100 * wanted.count && cases < wanted.count; ++attempt) {
        const RecordedPipe& reference = pipes[random() % pipes.size()];
        const RecordedPipe& pipe = pipes[random() % pipes.size()];
        const double apart = 12.0 * std::log2(pipe.nominal_hz() / reference.nominal_hz());
        const bool same = &reference == &pipe;
        if (same || std::abs(apart) > 1.3) continue;
        double beat = wanted.slowest * std::pow(wanted.fastest / wanted.slowest, between(0.0, 1.0));
        if (random() % 2 == 0) beat = -beat;
        const double level_db = between(-wanted.level_db, wanted.level_db);
        const auto whole = mix_whole(reference, pipe, beat, level_db, random);
        if (!whole) continue;
        const double rate = reference.rate;
        const Hertz finest{0.05 * whole->hz[0] * std::numbers::ln2 / 1200.0};
        const listening::PairRequest request{
            SampleRate{rate}, Hertz{whole->hz[0]} + finest * normal(random), finest, 1, 1};
        const auto span = listening::pair_span(whole->mix, request);
        const auto reading =
            listening::measure_pair(std::span(whole->mix).subspan(span.first, span.count), request);

        const auto build_up = static_cast<std::size_t>(kBuildsUp_s * rate);
        std::size_t from = std::max(whole->stands[0].first, whole->stands[1].first) + build_up;
        std::size_t to = std::min(whole->stands[0].second, whole->stands[1].second);
        // What was heard of one alone isn't asked for; a span elsewhere has missed them.
        if (std::min(to, span.first + span.count) >
            std::max(from, span.first) + static_cast<std::size_t>(kLeastHeard_s * rate)) {
            from = std::max(from, span.first);
            to = std::min(to, span.first + span.count);
        }
        PairCase truth{{}, rate};
        const auto first = alone_pitch(whole->alone[0], {from, to}, rate, whole->hz[0]);
        const auto second = alone_pitch(whole->alone[1], {from, to}, rate, whole->hz[1]);
        if (!first || !second) continue;
        truth.reference_hz = *first;
        truth.pipe_hz = *second;
        truth.beat = *second - *first;
        ++cases;
        char what[120];
        std::snprintf(
            what, sizeof what, "%s and %s %+.1f dB from %.2f to %.2f of %.2f to %.2f",
            reference.name().c_str(), pipe.name().c_str(), level_db,
            static_cast<double>(span.first) / rate,
            static_cast<double>(span.first + span.count) / rate,
            static_cast<double>(std::max(whole->stands[0].first, whole->stands[1].first)) / rate,
            static_cast<double>(std::min(whole->stands[0].second, whole->stands[1].second)) / rate);
        row.judge(what, truth, request, reading);
    }
    return cases == wanted.count;
}

}  // namespace rankwright::testing
