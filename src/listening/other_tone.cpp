#include "listening/other_tone.h"

#include "listening/arithmetic.h"
#include "listening/coarse_pitch.h"
#include "listening/mains.h"
#include "listening/measure.h"
#include "listening/partial_power.h"
#include "listening/tone_removal.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

namespace rankwright::listening {

namespace {

constexpr Seconds kLongest{2.0};
constexpr Decibels kSoftest{-25.0};
/// What a pipe's own partials leave beside them isn't so steady.
constexpr Cents kSure{5.0};
constexpr Cents kSame{40.0};
constexpr int kLooks = 3;
constexpr int kPartialsLeft = 16;
constexpr double kHighest = 0.45;  // of the rate

/// Whether each partial of the one is the other's too.
bool is_multiple(Hertz one, Hertz other) {
    const double ratio = std::max(one / other, other / one);
    const double nearest = std::round(ratio);
    return std::abs(interval(Hertz{nearest}, Hertz{ratio}).value()) < kSame.value();
}

/// Of each, the lower pipe's number and the upper one's of the fundamental they seem to share.
constexpr std::array<std::array<int, 2>, 6> kShared{
    {{2, 3}, {3, 4}, {4, 5}, {5, 6}, {3, 5}, {5, 8}}};
/// Of all power, what may stand at other numbers; and what each has at its first partial.
constexpr double kElsewhere = 0.001;
constexpr double kFirstAtLeast = 0.02;

/// Whether the partials are those of two pipes at these numbers.
bool is_of_two(const Partials& partials, const std::array<int, 2>& numbers) {
    double all = 0.0, elsewhere = 0.0;
    std::array<double, 2> first{};
    for (const PartialLevel& partial : partials) {
        const double here = std::pow(10.0, partial.level.value() / 10.0);
        all += here;
        bool ours = false;
        for (std::size_t i = 0; i < numbers.size(); ++i) {
            if (partial.number == numbers[i]) first[i] = here;
            ours = ours || partial.number % numbers[i] == 0;
        }
        if (!ours) elsewhere += here;
    }
    return elsewhere < kElsewhere * all && std::min(first[0], first[1]) > kFirstAtLeast * all;
}

std::span<const float> middle_of(std::span<const float> samples, SampleRate rate, Seconds longest) {
    const auto most = static_cast<std::size_t>(longest.count() * rate.value());
    if (samples.size() <= most) return samples;
    return samples.subspan((samples.size() - most) / 2, most);
}

/// Whether what is left in the middle without the partials of `one` has the power of so loud a
/// tone: mostly it hasn't, and need not be searched.
bool holds_enough(std::span<const float> samples, SampleRate rate, const PitchReading& one) {
    constexpr Seconds kLookedAt{0.7};
    constexpr Decibels kSofter{-45.0};  // all partials that are together are no such tone
    constexpr double kMargin = 0.7, kFullScaleSine = 2.0;  // a level is the amplitude's
    const std::span<const float> middle = middle_of(samples, rate, kLookedAt);
    const double loud = power(one.partials);
    std::vector<Hertz> lines;
    for (const PartialLevel& partial : one.partials)
        if (std::pow(10.0, partial.level.value() / 10.0) >
            loud * std::pow(10.0, kSofter.value() / 10.0))
            lines.push_back(partial.number * one.pitch);
    std::vector<float> left(middle.begin(), middle.end());
    remove_lines(left, rate, lines);
    return kFullScaleSine * mean_square(left) >
           kMargin * std::pow(10.0, kSoftest.value() / 10.0) * loud;
}

std::vector<Hertz> multiples(Hertz pitch, SampleRate rate) {
    std::vector<Hertz> lines;
    for (int k = 1;
         k <= static_cast<int>(kMostPartials) && k * pitch.value() < kHighest * rate.value(); ++k)
        lines.push_back(k * pitch);
    return lines;
}

}  // namespace

std::optional<OtherTone> other_tone(std::span<const float> samples, SampleRate rate,
                                    const PitchReading& one) {
    if (!holds_enough(samples, rate, one)) return {};
    samples = middle_of(samples, rate, kLongest);
    std::vector<float> left(samples.begin(), samples.end());
    std::vector<Hertz> lines;
    for (const PartialLevel& partial : one.partials)
        lines.push_back(partial.number * one.pitch);
    remove_lines(left, rate, lines);
    std::optional<Hertz> about;
    for (int look = 0; look < kLooks; ++look) {
        about = find_pitch(left, rate);
        if (!about || !is_multiple(one.pitch, *about)) break;
        // What an unsteady pipe leaves beside its own partials may be louder than the other.
        std::vector<Hertz> rest;
        for (int k = 1; k <= kPartialsLeft && k * about->value() < kHighest * rate.value(); ++k)
            rest.push_back(k * *about);
        remove_lines(left, rate, rest);
    }
    if (!about || is_multiple(one.pitch, *about)) return {};
    const auto other = measure_pipe(left, rate, about, lines);
    if (!other || !(other->cents_sd() < kSure) || on_mains(other->pitch) ||
        is_multiple(one.pitch, other->pitch))
        return {};
    Partials own;
    for (const PartialLevel& partial : other->partials)
        if (!is_beside(partial.number * other->pitch, lines)) own.list[own.count++] = partial;
    const Decibels level{10.0 * std::log10(power(own) / power(one.partials))};
    if (!(level > kSoftest)) return {};
    return OtherTone{other->pitch, level};
}

std::optional<TwoTones> two_read_as_one(std::span<const float> samples, SampleRate rate,
                                        const PitchReading& read) {
    for (const std::array<int, 2>& numbers : kShared) {
        if (!is_of_two(read.partials, numbers)) continue;
        const Hertz low = numbers[0] * read.pitch, high = numbers[1] * read.pitch;
        const auto lower = measure_pipe(samples, rate, low, multiples(high, rate));
        const auto upper = measure_pipe(samples, rate, high, multiples(low, rate));
        if (lower && upper && lower->cents_sd() < kSure && upper->cents_sd() < kSure)
            return TwoTones{*lower, upper->pitch};
    }
    return {};
}

}  // namespace rankwright::listening
