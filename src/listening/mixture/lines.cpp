#include "listening/mixture/lines.h"

#include <algorithm>
#include <cmath>

namespace rankwright::listening {

namespace {

constexpr std::size_t kMostTones = 8;  // in one band
constexpr double kStandsOut = 20.0;    // line over noise, in the whole span's resolution

void measure_floor(MixtureBand& band, const MixtureSound& sound) {
    const double aside = std::max(2.0 * band.half_width_hz, 30.0);
    const double white = sound.noise.variance(band.centre_hz - aside, band.centre_hz + aside);
    const double rate = sound.rate.value();
    band.floor = white * band.rate / rate;
    band.line = sound.noise.line_power(band.centre_hz - band.half_width_hz,
                                       band.centre_hz + band.half_width_hz) *
                sound.seconds * rate / (4.0 * white + 1e-30);
}

}  // namespace

double strongest_line(const MixtureSound& sound, std::span<const MixtureReach> reach) {
    double lowest_hz = 0.5 * sound.rate.value(), highest_hz = 0.0;
    for (const MixtureReach& r : reach) {
        lowest_hz = std::min(lowest_hz, r.nominal_hz * (1.0 + r.low));
        highest_hz = std::max(highest_hz, r.highest_hz);
    }
    constexpr double kPhasor = 0.25;  // a band holds half a line's amplitude
    return kPhasor * sound.noise.line_power(lowest_hz, highest_hz);
}

std::vector<MixtureBand> search_bands(const MixtureSound& sound,
                                      std::span<const MixtureReach> reach, int highest) {
    constexpr int kAlways = 2, kMore = 2;  // those that the bands of others bring along
    constexpr double kWiden_hz = 0.3;
    std::vector<MixtureBand> bands;
    std::vector<int> count(reach.size(), 0);
    for (MixtureBand& band :
         plan_bands(reach, sound.seconds, kMostTones, 1.0 / sound.seconds + kWiden_hz)) {
        measure_floor(band, sound);
        bool wanted = false;
        for (const MixtureTone& t : band.tones)
            wanted =
                wanted || t.partial <= kAlways ||
                (t.partial <= highest && count[t.pipe] < highest + kMore && band.line > kStandsOut);
        if (!wanted || !cut_band(band, sound.samples, sound.rate)) continue;
        measure_floor(band, sound);
        for (const MixtureTone& t : band.tones)
            ++count[t.pipe];
        bands.push_back(std::move(band));
    }
    return bands;
}

std::vector<MixtureBand> fine_bands(const MixtureSound& sound, std::span<const MixtureReach> near) {
    constexpr int kEach = 12;
    constexpr double kWiden_hz = 0.5;
    constexpr double kStrongEnough = 3e4;  // more doesn't help: the pipe's own unrest is above it
    std::vector<MixtureBand> planned =
        plan_bands(near, sound.seconds, kMostTones, 1.0 / sound.seconds + kWiden_hz);
    struct Rank {
        double worth;
        std::size_t band;
    };
    std::vector<Rank> ranks;
    for (std::size_t b = 0; b < planned.size(); ++b) {
        MixtureBand& band = planned[b];
        measure_floor(band, sound);
        const bool fundamental = std::any_of(band.tones.begin(), band.tones.end(),
                                             [](const auto& t) { return t.partial == 1; });
        if (band.line < kStandsOut && !fundamental) continue;
        const double worth = std::min(band.line, kStrongEnough) * band.centre_hz * band.centre_hz;
        ranks.push_back({fundamental ? 1e6 * worth : worth, b});
    }
    std::sort(ranks.begin(), ranks.end(), [](auto& a, auto& b) { return a.worth > b.worth; });
    std::vector<MixtureBand> bands;
    std::vector<int> count(near.size(), 0);
    for (const Rank& rank : ranks) {
        MixtureBand& band = planned[rank.band];
        const bool wanted = std::any_of(band.tones.begin(), band.tones.end(), [&](const auto& t) {
            return t.tells() && count[t.pipe] < kEach;
        });
        if (!wanted || !cut_band(band, sound.samples, sound.rate)) continue;
        measure_floor(band, sound);
        for (const MixtureTone& t : band.tones)
            if (t.tells()) ++count[t.pipe];
        bands.push_back(std::move(band));
    }
    return bands;
}

std::vector<MixtureBand> bands_around(const MixtureSound& sound, std::span<const MixtureReach> near,
                                      std::size_t pipe) {
    constexpr int kAlways = 6;
    constexpr std::size_t kMost = 14;
    constexpr double kWiden_hz = 0.5;
    std::vector<MixtureBand> planned =
        plan_bands(near, sound.seconds, kMostTones, 1.0 / sound.seconds + kWiden_hz);
    const auto lowest = [&](const MixtureBand& band) {
        int partial = 0;
        for (const MixtureTone& tone : band.tones)
            if (tone.pipe == pipe && (partial == 0 || tone.partial < partial))
                partial = tone.partial;
        return partial;
    };
    planned.erase(std::remove_if(planned.begin(), planned.end(),
                                 [&](const MixtureBand& band) { return lowest(band) == 0; }),
                  planned.end());
    for (MixtureBand& band : planned)
        measure_floor(band, sound);
    const auto worth = [&](const MixtureBand& band) {
        return lowest(band) <= kAlways ? 1e30 / lowest(band) : band.line;
    };
    std::sort(planned.begin(), planned.end(),
              [&](const auto& a, const auto& b) { return worth(a) > worth(b); });
    std::vector<MixtureBand> bands;
    for (MixtureBand& band : planned) {
        if (bands.size() == kMost) break;
        if (!cut_band(band, sound.samples, sound.rate)) continue;
        measure_floor(band, sound);
        bands.push_back(std::move(band));
    }
    return bands;
}

}  // namespace rankwright::listening
