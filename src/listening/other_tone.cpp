#include "listening/other_tone.h"

#include "listening/coarse_pitch.h"
#include "listening/mains.h"
#include "listening/measure.h"
#include "listening/partial_power.h"
#include "listening/tone_removal.h"

#include <algorithm>
#include <array>
#include <cmath>

namespace rankwright::listening {

namespace {

constexpr Seconds kLongest{2.0};
/// What a pipe's own partials leave beside them isn't so steady.
constexpr Cents kSure{5.0};
constexpr Cents kSame{40.0};
constexpr int kLooks = 3;
constexpr int kPartialsLeft = 16;
constexpr double kHighest = 0.45;  // of the rate

/// The numbers of two pipes among the partials of a fundamental that neither has.
using TwoNumbers = std::array<int, 2>;

/// What neither of two pipes has, of all power; each has more than that, and so much of all power,
/// by itself.
constexpr double kNeither = 0.001;
constexpr double kStandsOut = 10.0;
constexpr double kOwnAtLeast = 1e-5;

/// What all of them are multiples of, but for a faint rest.
int common_number(const Partials& partials) {
    constexpr int kHighestNumber = 8;
    constexpr double kRest = 0.006;  // as coarse_pitch has it of lines between a pipe's partials
    const double all = power(partials);
    for (int number = kHighestNumber; number > 1; --number) {
        double rest = 0.0;
        for (const PartialLevel& partial : partials)
            if (partial.number % number != 0) rest += power(partial);
        if (rest < kRest * all) return number;
    }
    return 1;
}

/// Those partials that only one of two pipes has, by its own numbers, and the power of those that
/// neither has.
struct Shares {
    std::array<Partials, 2> own;
    double neither = 0.0;
};

Shares shares(const Partials& partials, const TwoNumbers& numbers) {
    Shares split;
    for (const PartialLevel& partial : partials) {
        const std::array<bool, 2> of{partial.number % numbers[0] == 0,
                                     partial.number % numbers[1] == 0};
        if (!of[0] && !of[1]) split.neither += power(partial);
        for (std::size_t i = 0; i < of.size(); ++i)
            if (of[i] && !of[1 - i])
                split.own[i].list[split.own[i].count++] = {partial.number / numbers[i],
                                                           partial.level};
    }
    return split;
}

/// The louder one's number comes first, of two as loud the lower one's.
std::optional<TwoNumbers> numbers_of_two(const Partials& partials) {
    constexpr int kHighestNumber = 16;
    constexpr double kWidest = 1.75;  // a sixth
    constexpr double kAsLoud = 1.3;   // a decibel
    const double all = power(partials);
    for (int high = 3; high <= kHighestNumber; ++high)
        for (int low = 2; low < high; ++low) {
            if (high > kWidest * low) continue;
            const Shares split = shares(partials, {low, high});
            const double lower = power(split.own[0]), upper = power(split.own[1]);
            if (split.neither > kNeither * all ||
                std::min(lower, upper) < std::max(kStandsOut * split.neither, kOwnAtLeast * all))
                continue;
            if (common_number(split.own[0]) > 1 || common_number(split.own[1]) > 1) continue;
            return kAsLoud * lower >= upper ? TwoNumbers{low, high} : TwoNumbers{high, low};
        }
    return {};
}

/// Whether they may be the lowest partials of one low pipe whose fundamental a small microphone
/// doesn't hear: with few of them the fifth and seventh may be missing too.
bool may_be_one(const PitchReading& read, const TwoNumbers& numbers) {
    constexpr int kFew = 7;
    if (!(read.pitch < kFundamentalHeard) || numbers[0] + numbers[1] != 2 + 3) return false;
    double above = 0.0;
    for (const PartialLevel& partial : read.partials)
        if (partial.number > kFew) above += power(partial);
    return above < std::max(kStandsOut * shares(read.partials, numbers).neither,
                            kOwnAtLeast * power(read.partials));
}

/// The partials of one pipe keep step, which those of two don't.
bool keep_step(const PitchReading& one, const PitchReading& other, const TwoNumbers& numbers) {
    constexpr double kSteps = 3.0;
    const Hertz from_one = (1.0 / numbers[0]) * one.pitch;
    const Hertz from_other = (1.0 / numbers[1]) * other.pitch;
    return apart(from_one, from_other).value() <
           kSteps * std::hypot(one.cents_sd().value(), other.cents_sd().value());
}

std::span<const float> middle_of(std::span<const float> samples, SampleRate rate, Seconds longest) {
    const auto most = static_cast<std::size_t>(longest.count() * rate.value());
    if (samples.size() <= most) return samples;
    return samples.subspan((samples.size() - most) / 2, most);
}

/// Whether the lines in the middle that aren't partials of `one` have the power of so loud a tone:
/// mostly they haven't, and nothing need be taken out and searched.
bool may_have_another(std::span<const float> samples, SampleRate rate, const PitchReading& one) {
    constexpr Seconds kLookedAt{0.5};
    constexpr double kMargin = 0.5;
    const std::span<const float> middle = middle_of(samples, rate, kLookedAt);
    CoarsePitch coarse(
        {.rate = rate, .window = duration(static_cast<std::int64_t>(middle.size()), rate)});
    coarse.look(middle);
    const std::vector<Hertz> own = lines_of(one);
    double left = 0.0;
    for (const SpectralLine& line : coarse.lines())
        if (!is_beside(Hertz{line.hz}, own)) left += line.amplitude * line.amplitude;
    return left > kMargin * std::pow(10.0, kSoftestBeside.value() / 10.0) * power(one.partials);
}

std::vector<Hertz> multiples(Hertz pitch, SampleRate rate) {
    std::vector<Hertz> lines;
    for (int k = 1;
         k <= static_cast<int>(kMostPartials) && k * pitch.value() < kHighest * rate.value(); ++k)
        lines.push_back(k * pitch);
    return lines;
}

/// Those of its partials that none of `lines` reaches.
Partials own_partials(const PitchReading& reading, std::span<const Hertz> lines) {
    Partials own;
    for (const PartialLevel& partial : reading.partials)
        if (!is_beside(partial.number * reading.pitch, lines)) own.list[own.count++] = partial;
    return own;
}

/// Reads the tone about `about` in `left`, from which `lines` were taken. What they leave beside
/// them may have been taken for partials of its own, and a multiple for the pitch.
std::optional<PitchReading> measure_left(std::span<const float> left, SampleRate rate, Hertz about,
                                         std::span<const Hertz> lines) {
    auto found = measure_pipe(left, rate, about, lines);
    if (!found || !(found->cents_sd() < kSure)) return {};
    const int number = common_number(*found, lines);
    if (number > 1) found = measure_pipe(left, rate, number * found->pitch, lines);
    return found && found->cents_sd() < kSure ? found : std::nullopt;
}

}  // namespace

bool is_multiple(Hertz one, Hertz other) {
    const double ratio = std::max(one / other, other / one);
    return apart(Hertz{std::round(ratio)}, Hertz{ratio}) < kSame;
}

std::vector<Hertz> lines_of(const PitchReading& reading) {
    int highest = 0;
    for (const PartialLevel& partial : reading.partials)
        highest = std::max(highest, partial.number);
    std::vector<Hertz> lines;
    for (int k = 1; k <= highest; ++k)
        lines.push_back(k * reading.pitch);
    return lines;
}

Decibels own_level(const PitchReading& reading, std::span<const Hertz> lines,
                   const PitchReading& louder) {
    return Decibels{10.0 *
                    std::log10(power(own_partials(reading, lines)) / power(louder.partials))};
}

int common_number(const PitchReading& reading, std::span<const Hertz> lines) {
    return common_number(own_partials(reading, lines));
}

std::optional<PitchReading> measure_without(std::span<const float> samples, SampleRate rate,
                                            Hertz near, std::span<const Hertz> lines) {
    std::vector<float> left(samples.begin(), samples.end());
    remove_lines(left, rate, lines);
    return measure_pipe(left, rate, near, lines);
}

std::optional<OtherTone> other_tone(std::span<const float> samples, SampleRate rate,
                                    const PitchReading& one) {
    if (!may_have_another(samples, rate, one)) return {};
    samples = middle_of(samples, rate, kLongest);
    std::vector<float> left(samples.begin(), samples.end());
    const std::vector<Hertz> lines = lines_of(one);
    remove_lines(left, rate, lines);
    std::optional<Hertz> about;
    for (int look = 0; look < kLooks; ++look) {
        about = find_pitch(left, rate, {}, lines);
        if (!about || !is_multiple(one.pitch, *about)) break;
        // What an unsteady pipe leaves beside its own partials may be louder than the other.
        std::vector<Hertz> rest;
        for (int k = 1; k <= kPartialsLeft && k * about->value() < kHighest * rate.value(); ++k)
            rest.push_back(k * *about);
        remove_lines(left, rate, rest);
    }
    if (!about || is_multiple(one.pitch, *about)) return {};
    const auto other = measure_left(left, rate, *about, lines);
    if (!other || on_mains(other->pitch) || is_multiple(one.pitch, other->pitch)) return {};
    const Decibels level = own_level(*other, lines, one);
    if (!(level > kSoftestBeside)) return {};
    return OtherTone{*other, level};
}

std::optional<TwoAsOne> two_read_as_one(std::span<const float> samples, SampleRate rate,
                                        const PitchReading& read) {
    const auto numbers = numbers_of_two(read.partials);
    if (!numbers) return {};
    const Hertz loud = (*numbers)[0] * read.pitch, soft = (*numbers)[1] * read.pitch;
    const auto without = [&](Hertz about, const std::vector<Hertz>& lines) {
        const auto one = measure_without(samples, rate, about, lines);
        return one && one->cents_sd() < kSure ? one : std::nullopt;
    };
    auto louder = without(loud, multiples(soft, rate));
    // What the two share went with the softer one's.
    if (const auto whole = louder ? measure_pipe(samples, rate, louder->pitch) : std::nullopt)
        louder->partials = whole->partials;
    if (!louder || !may_be_one(read, *numbers)) return TwoAsOne{louder};
    const auto softer = without(soft, lines_of(*louder));
    if (softer && keep_step(*louder, *softer, *numbers)) return {};
    return TwoAsOne{louder};
}

}  // namespace rankwright::listening
