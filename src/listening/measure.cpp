#include "listening/measure.h"

#include "listening/coarse_pitch.h"
#include "listening/disturbance.h"
#include "listening/half_rate.h"
#include "listening/harmonic_fit.h"
#include "listening/partial_bank.h"
#include "listening/tone_removal.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdint>
#include <utility>
#include <vector>

namespace rankwright::listening {

namespace {

/// Below this many partials a coarse pitch, a few hundredths off, still lies in every band.
constexpr int kFirstPartials = 8;
constexpr double kFewestPeriods = 8.0;
/// Far beyond what noise gives, also where the fit follows its chance movements.
constexpr double kPresent = 40.0;
constexpr double kSurelyPresent = 150.0;
/// To be listed: noise in 64 partials exceeds it in one reading of a thousand.
constexpr double kListed = 14.0;

/// The block that divides `frames` without a rest worth mentioning: whole periods in a long span;
/// a little off them in a short one, where a rest would cost more than the leaks it brings.
std::size_t dividing_block(std::size_t frames, SampleRate rate, Hertz pitch) {
    const std::size_t block = whole_period_block(rate, pitch, PartialBank::kBlock);
    const std::size_t blocks = std::max<std::size_t>(1, (frames + block / 2) / block);
    constexpr std::size_t kMany = 200;
    return blocks > kMany ? block : frames / blocks;
}

using Numbers = std::array<std::uint8_t, kMostPartials + 1>;

/// By number: 1 where a partial of `pitch` has another tone's beside it.
Numbers numbers_beside(Hertz pitch, std::span<const Hertz> lines) {
    Numbers numbers{};
    for (std::size_t k = 1; k < numbers.size() && !lines.empty(); ++k)
        numbers[k] = is_beside(static_cast<int>(k) * pitch, lines) ? 1 : 0;
    return numbers;
}

std::optional<HarmonicFit> fit_all(std::span<const float> samples, SampleRate rate, Hertz pitch,
                                   int partials, const Numbers& beside) {
    const std::size_t block = dividing_block(samples.size(), rate, pitch);
    if (block == 0) return {};
    const std::size_t blocks = samples.size() / block;
    PartialBank bank(rate, partials, blocks + 1);
    bank.tune(pitch, partials, block);
    bank.process(FrameIndex{0}, samples);
    HarmonicFitter fitter(partials, blocks + 1);
    std::vector<std::uint8_t> heard = undrowned_blocks(bank.energy(), block, rate);
    auto fit = fitter.fit(bank, 0, bank.blocks(), heard, beside);
    // What a disturbance hides in the noise shows once its loudest part is left out.
    constexpr int kLooks = 3;
    for (int look = 0; fit && look < kLooks; ++look) {
        auto undisturbed = undisturbed_blocks(fitter.unrest(), samples, block, rate);
        if (undisturbed == heard) break;
        heard = std::move(undisturbed);
        if (const auto without = fitter.fit(bank, 0, bank.blocks(), heard, beside)) fit = without;
    }
    return fit;
}

/// A fit that ran off isn't the pipe that was found.
bool near_enough(Hertz pitch, Hertz coarse) {
    constexpr Cents kWidest{150.0};
    return pitch.value() > 0.0 && std::abs(interval(coarse, pitch).value()) < kWidest.value();
}

/// How far the clearest partial stands out of its noise, as a power ratio over the whole span.
double strongest_presence(const HarmonicFit& fit, const Numbers& beside) {
    double most = 0.0;
    for (std::size_t k = 1; k <= static_cast<std::size_t>(fit.count); ++k)
        if (beside[k] == 0) most = std::max(most, fit.partials[k].presence);
    return most;
}

PitchReading to_reading(const HarmonicFit& fit, std::span<const float> samples) {
    PitchReading reading;
    reading.pitch = fit.pitch;
    reading.sd = fit.sd;
    reading.from = fit.from;
    reading.to = FrameIndex{static_cast<std::int64_t>(samples.size())};
    reading.snr = fit.snr;
    reading.clipped = clipped_share(samples);
    for (int k = 1; k <= fit.count; ++k) {
        const FittedPartial& partial = fit.partials[static_cast<std::size_t>(k)];
        if (partial.presence < kListed) continue;
        const double amplitude = 2.0 * std::abs(partial.phasor);
        reading.partials.list[reading.partials.count++] = {k,
                                                           Decibels{20.0 * std::log10(amplitude)}};
    }
    return reading;
}

FrameIndex whole_frame(const HalvedSound& half, FrameIndex at) {
    return FrameIndex{static_cast<std::int64_t>(half.frame_of(static_cast<std::size_t>(at.value)))};
}

}  // namespace

bool is_beside(Hertz partial, std::span<const Hertz> lines) {
    return std::any_of(lines.begin(), lines.end(), [&](Hertz line) {
        return std::abs((line - partial).value()) < line_reach(line).value();
    });
}

std::optional<PitchReading> measure_pipe(std::span<const float> samples, SampleRate rate,
                                         std::optional<Hertz> near, std::span<const Hertz> beside) {
    if (rate >= kHalvedFrom) {
        const HalvedSound half = half_rate(samples);
        auto reading = measure_pipe(half.samples, SampleRate{0.5 * rate.value()}, near, beside);
        if (!reading) return {};
        reading->from = whole_frame(half, reading->from);
        reading->to = whole_frame(half, reading->to);
        reading->clipped = clipped_share(samples);  // the filter rounds off what was cut
        return reading;
    }
    const Seconds longest_period{1.0 / near.value_or(kLowestPitch).value()};
    std::optional<Hertz> coarse =
        find_pitch(undrowned_stretch(samples, rate, longest_period), rate, near, beside);
    // A span too short for a spectrum to part the partials still has its pitch near `near`.
    const bool found = coarse.has_value();
    if (!found) coarse = near;
    if (!coarse || samples.size() < kFewestPeriods * rate.value() / coarse->value()) return {};
    std::optional<HarmonicFit> fit =
        fit_all(samples, rate, *coarse, kFirstPartials, numbers_beside(*coarse, beside));
    if (!fit) return {};
    Numbers now = numbers_beside(fit->pitch, beside);
    fit = fit_all(samples, rate, fit->pitch, static_cast<int>(kMostPartials), now);
    if (fit && std::exchange(now, numbers_beside(fit->pitch, beside)) != now)
        fit = fit_all(samples, rate, fit->pitch, static_cast<int>(kMostPartials), now);
    if (!fit || !near_enough(fit->pitch, *coarse)) return {};
    if (strongest_presence(*fit, now) < (found ? kPresent : kSurelyPresent)) return {};
    return to_reading(*fit, samples);
}

PitchReading reading_of_part(PitchReading part, FrameIndex first, Hertz unsettled) {
    part.from = part.from + first.value;
    part.to = part.to + first.value;
    part.sd = Hertz{std::hypot(part.sd.value(), unsettled.value())};
    return part;
}

std::optional<StandingPipe> measure_standing(std::span<const float> samples, SampleRate rate,
                                             std::optional<Hertz> near,
                                             std::span<const Hertz> beside) {
    const auto steady = find_steady(samples, rate, near, beside);
    if (!steady) return {};
    const auto reading =
        measure_pipe(samples.subspan(steady->first, steady->count), rate, near, beside);
    if (!reading) return {};
    const FrameIndex first{static_cast<std::int64_t>(steady->first)};
    return StandingPipe{reading_of_part(*reading, first, steady->unsettled), steady->unsettled};
}

}  // namespace rankwright::listening
