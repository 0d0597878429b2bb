#include "tuning/own_pitch.h"

#include "listening/line_level.h"
#include "listening/measure.h"
#include "listening/partial_power.h"

#include <algorithm>
#include <cmath>
#include <numeric>

namespace rankwright::tuning {

Decibels clear_level(const HeardTone& tone, std::span<const Hertz> taken_out) {
    double sum = 1e-20;
    for (const listening::PartialLevel& partial : tone.partials)
        if (!listening::is_beside(partial.number * tone.pitch, taken_out)) sum += power(partial);
    return Decibels{10.0 * std::log10(sum)};
}

int times_of(const HeardTone& tone, std::span<const Hertz> taken_out) {
    constexpr double kAbsent_db = 30.0;
    constexpr int kMostTimes = 16;
    const auto clear = [&](int number) {
        return !listening::is_beside(number * tone.pitch, taken_out);
    };
    double loudest = -200.0;
    for (const listening::PartialLevel& partial : tone.partials)
        if (clear(partial.number)) loudest = std::max(loudest, partial.level.value());
    int times = 0;
    for (const listening::PartialLevel& partial : tone.partials)
        if (clear(partial.number) && partial.level.value() > loudest - kAbsent_db)
            times = std::gcd(times, partial.number);
    if (times < 2 || times > kMostTimes) return 1;
    // Twice: a fundamental may lie in a node of the room, but not the third as well.
    const int other = times == 2 ? 3 : 1;
    return clear(1) && clear(other) ? times : 1;
}

bool sounds_an_octave_lower(const HeardTone& tone, std::span<const float> samples, SampleRate rate,
                            std::span<const Hertz> taken_out) {
    constexpr int kOdd = 4, kFewest = 3;
    constexpr double kStands_db = 15.0, kDiesAway_db = 6.0, kAbsent_db = 40.0;
    const std::size_t part = samples.size() / 3;
    const double beside_hz = 8.0 * rate.value() / static_cast<double>(samples.size()) + 2.0;
    const auto level = [&](std::span<const float> piece, double hz) {
        return listening::line_level(piece, rate, Hertz{hz}).value();
    };
    const double own = level(samples, tone.pitch.value());
    int stand = 0;
    for (int k = 0; k < kOdd; ++k) {
        const double hz = (k + 0.5) * tone.pitch.value();
        if (hz - beside_hz <= 0.0 || listening::is_beside(Hertz{hz}, taken_out)) continue;
        const double here = level(samples, hz);
        const double beside =
            std::max(level(samples, hz - beside_hz), level(samples, hz + beside_hz));
        const bool dies_away =
            level(samples.last(part), hz) < level(samples.first(part), hz) - kDiesAway_db;
        if (here > beside + kStands_db && here > own - kAbsent_db && !dies_away) ++stand;
    }
    return stand >= kFewest;
}

}  // namespace rankwright::tuning
