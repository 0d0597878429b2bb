#include "listening/pair/span.h"

#include "listening/held_hops.h"
#include "listening/pair/bands.h"
#include "listening/pair/plan.h"
#include "listening/pair/presence.h"
#include "listening/pair/together.h"

#include <algorithm>
#include <cmath>
#include <vector>

namespace rankwright::listening {

namespace {

// Common practice, no source.
constexpr Seconds kLongestPairDip{4.0};  // two as loud as one another that beat slowly
constexpr Seconds kLeastOfPair{0.5};
constexpr Seconds kLeastOfLine{1.0};
constexpr std::size_t kSpanLines = 8;

struct HeldPart {
    Seconds from, to;
};

std::vector<PairBand> span_bands(std::span<const float> samples, const PairRequest& request) {
    const PairPlan plan = plan_pair(samples, request);
    return cut_bands(samples, request, plan, telling_lines(plan.lines, kSpanLines), -plan.reach_hz,
                     plan.reach_hz);
}

/// Mean of |z|² of all `bands` in a hop that begins so many seconds from the middle.
double hop_power(std::span<const PairBand> bands, double from_s) {
    double all = 0.0;
    for (const PairBand& band : bands) {
        const auto index = [&](double t) {
            return static_cast<std::ptrdiff_t>(std::lround((t - band.first_s) * band.rate));
        };
        const auto last = static_cast<std::ptrdiff_t>(band.z.size()) - 1;
        const std::ptrdiff_t first = std::clamp<std::ptrdiff_t>(index(from_s), 0, last);
        const std::ptrdiff_t end =
            std::clamp<std::ptrdiff_t>(index(from_s + kHeldHop.count()), first + 1, last + 1);
        double sum = 0.0;
        for (std::ptrdiff_t m = first; m < end; ++m)
            sum += std::norm(band.z[static_cast<std::size_t>(m)]);
        all += sum / static_cast<double>(end - first);
    }
    return all;
}

/// Narrows `part` of a sound of `all` to where the lines of `bands` are held, unless less than
/// `least` is left. `begins`: the sound begins with the key.
void narrow_to_held(HeldPart& part, Seconds all, std::span<const PairBand> bands, Seconds least,
                    bool begins) {
    std::vector<double> power(static_cast<std::size_t>(all / kHeldHop));
    if (power.empty()) return;
    for (std::size_t hop = 0; hop < power.size(); ++hop)
        power[hop] =
            hop_power(bands, static_cast<double>(hop) * kHeldHop.count() - 0.5 * all.count());
    const HeldHops held = held_hops(power, kLongestPairDip, begins);
    const HeldPart now{std::max(part.from, held.from()), std::min(part.to, held.to(all))};
    if (now.to - now.from > least) part = now;
}

}  // namespace

SteadySpan pair_span(std::span<const float> samples, const PairRequest& request) {
    const auto bands = span_bands(samples, request);
    const Seconds all{static_cast<double>(samples.size()) / request.rate.value()};
    HeldPart part{Seconds{0.0}, all};
    const bool begins = begins_with_key(samples, request.rate);
    if (!bands.empty()) narrow_to_held(part, all, bands, kLeastOfPair, begins);
    // Pipes differ in their partials: some lines tell of the one alone.
    for (const PairBand& band : bands)
        narrow_to_held(part, all, std::span(&band, 1), kLeastOfLine, begins);
    const auto frame = [&](Seconds at) {
        return static_cast<std::size_t>(std::lround(at.count() * request.rate.value()));
    };
    // Of two with like partials the one that sounds on keeps most lines held.
    const auto measured = [&](SteadySpan in) {
        return measure_pair(samples.subspan(in.first, in.count), request);
    };
    const SteadySpan held{frame(part.from), frame(part.to) - frame(part.from)};
    auto reading = measured(held);
    if (!reading) return held;
    const SteadySpan together = sounding_together(samples, request, held, *reading);
    if (together.count != held.count) reading = measured(together);
    if (!reading) return together;
    return both_present(samples, request, together, *reading);
}

}  // namespace rankwright::listening
