#include "accuracy/mixture_cases.h"

#include "accuracy/pair_cases.h"
#include "support/phase_slope.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

namespace rankwright::testing {

namespace {

using listening::PureRatio;
using Composition = std::vector<PureRatio>;

constexpr double kBeyond_s = 0.1;           // at either end, for the windows of the reference
constexpr std::size_t kResampledLate = 48;  // samples by which resampling begins later

const std::array<Composition, 6> kFour{
    Composition{{2, 1}, {3, 1}, {4, 1}, {6, 1}},  Composition{{3, 2}, {2, 1}, {3, 1}, {4, 1}},
    Composition{{4, 1}, {6, 1}, {8, 1}, {12, 1}}, Composition{{1, 1}, {2, 1}, {3, 1}, {5, 1}},
    Composition{{2, 1}, {5, 2}, {3, 1}, {4, 1}},  Composition{{1, 1}, {2, 1}, {4, 1}, {8, 1}}};
const std::array<Composition, 3> kSix{Composition{{1, 1}, {3, 2}, {2, 1}, {3, 1}, {4, 1}, {6, 1}},
                                      Composition{{2, 1}, {3, 1}, {4, 1}, {6, 1}, {8, 1}, {12, 1}},
                                      Composition{{1, 1}, {2, 1}, {5, 2}, {3, 1}, {4, 1}, {5, 1}}};
const std::array<Composition, 3> kDoubled{Composition{{2, 1}, {3, 1}, {4, 1}, {4, 1}},
                                          Composition{{3, 2}, {2, 1}, {2, 1}, {3, 1}},
                                          Composition{{3, 1}, {4, 1}, {6, 1}, {6, 1}}};

double rms(std::span<const float> x) {
    double sum = 0.0;
    for (const float v : x)
        sum += static_cast<double>(v) * static_cast<double>(v);
    return std::sqrt(sum / static_cast<double>(x.size()));
}

template <std::size_t n>
const Composition& any_of(const std::array<Composition, n>& all, double share) {
    return all[static_cast<std::size_t>(share * (static_cast<double>(n) - 0.001))];
}

// How badly a reading fits a pipe: above all, sounding or not.
double misfit(const listening::MixturePipeReading& reading, const MixedPipe& pipe, Hertz pure) {
    using listening::Presence;
    constexpr double kWrong = 1e6, kUndecided = 1e3, kMost_cents = 30.0;
    if (reading.presence == Presence::cannot_tell) return kUndecided;
    if ((reading.presence == Presence::silent) != pipe.silent) return kWrong;
    if (!reading.cents || pipe.silent) return 0.0;
    return std::min(kMost_cents,
                    std::abs((*reading.cents - interval(pure, Hertz{pipe.hz})).value()));
}

}  // namespace

listening::MixtureReading in_best_order(listening::MixtureReading reading, const MixedKey& key) {
    const auto& ratios = key.request.pipes;
    for (std::size_t j = 0; j < ratios.size(); ++j)
        for (std::size_t i = 0; i < j; ++i) {
            if (ratios[i].value() != ratios[j].value()) continue;
            const Hertz pure = key.request.unison * ratios[i].value();
            auto &a = reading.pipes[i], &b = reading.pipes[j];
            const MixedPipe &one = key.pipes[i], &other = key.pipes[j];
            if (misfit(b, one, pure) + misfit(a, other, pure) <
                misfit(a, one, pure) + misfit(b, other, pure))
                std::swap(a, b);
        }
    return reading;
}

MixtureRecordings::MixtureRecordings(const std::vector<std::string>& ranks) {
    for (RecordedPipe& pipe : recorded_pipes(ranks)) {
        const auto [first, last] = standing(pipe);
        // Three times: it wants a start within a few cents, the recordings are some 17 sharp.
        double hz = pipe.nominal_hz() * std::exp2(17.0 / 1200.0);
        for (int i = 0; i < 3; ++i)
            hz = phase_slope_pitch(pipe.channels[0], first, last, pipe.rate, hz).value_or(hz);
        all_.push_back({std::move(pipe), first, last, hz});
    }
}

/// Adds one recorded pipe moved to `hz`; false when no recording is near enough and long enough.
bool MixtureRecordings::add(MixedKey& key, double hz, double gain_db, double seconds,
                            MixedPipe pipe, std::mt19937_64& random) const {
    std::vector<const Source*> near;
    for (const Source& one : all_) {
        const double ratio = hz / one.hz;
        const double needed = ratio * (seconds + 2.0 * kBeyond_s) + 0.05;
        if (ratio > 0.6 && ratio < 1.7 &&
            static_cast<double>(one.last - one.first) > needed * one.pipe.rate)
            near.push_back(&one);
    }
    if (near.empty()) return false;
    std::uniform_int_distribution<std::size_t> any(0, near.size() - 1);
    const Source& source = *near[any(random)];
    const double rate = source.pipe.rate, ratio = hz / source.hz;
    const auto count = static_cast<std::size_t>(seconds * rate);
    const auto beyond = static_cast<std::size_t>(kBeyond_s * rate);
    const auto taken =
        static_cast<std::size_t>(static_cast<double>(count + 2 * beyond) * ratio) + 500;
    const std::span<const float> sound(source.pipe.channels[0]);
    const std::vector<float> moved = resampled(sound.subspan(source.first, taken), ratio);
    if (moved.size() < count + 2 * beyond) return false;
    // Its pitch where it was recorded: a pipe moved down has images of its partials above the
    // recording's band, so soft that nothing is heard of them, but they stand clear of their noise.
    const auto in_source = [&](std::size_t n) {
        return source.first + kResampledLate +
               static_cast<std::size_t>(std::lround(static_cast<double>(n) * ratio));
    };
    const auto mean =
        phase_slope_pitch(sound, in_source(beyond), in_source(beyond + count), rate, source.hz);
    if (!mean) return false;
    pipe.hz = *mean * ratio;
    pipe.db = gain_db;
    pipe.source = source.pipe.name();
    key.pipes.push_back(pipe);
    key.request.rate = SampleRate{rate};
    key.samples.resize(count, 0.0F);
    if (pipe.silent) return true;
    const std::span<const float> heard(&moved[beyond], count);
    const double gain = 0.03 * std::pow(10.0, gain_db / 20.0) / rms(heard);
    for (const float x : heard)
        key.pipes.back().alone.push_back(static_cast<float>(gain) * x);
    for (std::size_t i = 0; i < count; ++i)
        key.samples[i] += key.pipes.back().alone[i];
    return true;
}

std::optional<MixedKey> MixtureRecordings::draw(const MixtureDraw& wanted,
                                                std::mt19937_64& random) const {
    std::uniform_real_distribution<double> share(0.0, 1.0);
    std::normal_distribution<double> normal;
    MixedKey key;
    const double which = share(random);
    key.request.pipes = wanted.six       ? any_of(kSix, which)
                        : wanted.doubled ? any_of(kDoubled, which)
                                         : any_of(kFour, which);
    const double low = 130.0 / key.request.pipes.front().value();
    const double high = 1500.0 / key.request.pipes.back().value();
    key.request.unison = Hertz{low * std::pow(high / low, share(random))};
    double before = 0.0, cents = 0.0;
    for (const PureRatio& ratio : key.request.pipes) {
        const double most = 12.0 / 4.5 * wanted.sd_cents;
        const double own = std::clamp(wanted.sd_cents * normal(random), -most, most);
        const bool second = wanted.apart_cents != 0.0 && ratio.value() == before;
        cents = second ? cents + wanted.apart_cents : own;
        before = ratio.value();
        const double hz = key.request.unison.value() * ratio.value() * std::exp2(cents / 1200.0);
        const double db = -12.0 + 24.0 * share(random);
        const double fate = share(random);
        MixedPipe pipe;
        pipe.silent = fate < wanted.silent;
        pipe.leaks = !pipe.silent && fate < wanted.silent + wanted.leaking;
        if (!add(key, hz, pipe.leaks ? db + wanted.leak_db : db, wanted.seconds, pipe, random))
            return std::nullopt;
    }
    if (!wanted.reference) return key;
    const double hz = key.request.unison.value() * std::exp2(0.3 * normal(random) / 1200.0);
    if (!add(key, hz, -6.0 + 12.0 * share(random), wanted.seconds, {}, random)) return std::nullopt;
    key.request.reference = Hertz{key.pipes.back().hz};
    key.pipes.pop_back();
    return key;
}

}  // namespace rankwright::testing
