#include "listening/pair/together.h"

#include "core/median.h"
#include "listening/pair/number.h"
#include "listening/pair/plan.h"
#include "listening/pair/search.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

namespace rankwright::listening {

namespace {

/// Stretches by which one is told from two, each begun so long after the one before.
constexpr Seconds kStretch{1.0};
constexpr Seconds kStretchEvery{0.25};
constexpr std::size_t kFewestStretches = 4;
/// Of a long recording no more are heard.
constexpr double kMostStretches = 160.0;
/// What two usually gain where both sound, in ln of evidence: of the stretches, most of which may
/// be one pipe's alone.
constexpr double kBothSound = 0.85;
/// Two that usually gain less beat so slowly that their gain comes and goes with the beat. Of
/// recorded pairs in which both sound throughout such had 130 to 240.
constexpr double kTellsTwo = 300.0;
/// Where one of them sounds for half of a stretch, two gain less than this much of what is usual;
/// recorded pipes alone had up to 0.44 of it.
constexpr double kOneEnded = 0.5;

struct Gains {
    std::vector<double> gain;  // of each stretch
    double every_s = 0.0;
};

Gains gains_of_two(std::span<const float> samples, const PairRequest& request,
                   const BeatReading& reading) {
    PairPlace both;
    both.reference_hz = both.found_hz[0] = reading.reference.value();
    both.pipe_hz = both.found_hz[1] = reading.pipe.value();
    const double rate = request.rate.value();
    const double all_s = static_cast<double>(samples.size()) / rate;
    Gains gains{{}, std::max(kStretchEvery.count(), all_s / kMostStretches)};
    const auto length = static_cast<std::size_t>(kStretch.count() * rate);
    const auto step = static_cast<std::size_t>(gains.every_s * rate);
    for (std::size_t at = 0; at + length <= samples.size(); at += step) {
        const auto stretch = samples.subspan(at, length);
        const PairPlan plan = plan_pair(stretch, request);
        const double gain = plan.lines.empty() ? 0.0 : gain_of_two(stretch, request, plan, both);
        gains.gain.push_back(std::isfinite(gain) ? gain : 0.0);
    }
    return gains;
}

}  // namespace

SteadySpan sounding_together(std::span<const float> samples, const PairRequest& request,
                             SteadySpan span, const BeatReading& reading) {
    const double rate = request.rate.value();
    const double all_s = static_cast<double>(span.count) / rate;
    if (all_s <
        kStretch.count() + static_cast<double>(kFewestStretches - 1) * kStretchEvery.count())
        return span;
    const auto sound = samples.subspan(span.first, span.count);
    const Gains gains = gains_of_two(sound, request, reading);
    const double usual = value_above(kBothSound, gains.gain);
    if (usual < kTellsTwo) return span;
    const auto needs_two = [&](double g) { return g >= kOneEnded * usual; };
    // A gain that comes back is the beat's: only what goes before the first and after the last
    // stretch that needs two is left out.
    const std::vector<double>& gain = gains.gain;
    const auto first = std::find_if(gain.begin(), gain.end(), needs_two) - gain.begin();
    const auto after = std::find_if(gain.rbegin(), gain.rend(), needs_two) - gain.rbegin();
    // Of a stretch in which two begin to be needed, or cease to be, the one half is one's alone.
    const double half_s = 0.5 * kStretch.count();
    double from_s = first == 0 ? 0.0 : static_cast<double>(first) * gains.every_s + half_s;
    double to_s = all_s;
    if (after > 0)
        to_s = (static_cast<double>(gain.size() - 1) - static_cast<double>(after)) * gains.every_s +
               half_s;
    const double short_s = kStretch.count() - (to_s - from_s);
    if (short_s > 0.0) {
        from_s = std::clamp(from_s - 0.5 * short_s, 0.0, all_s - kStretch.count());
        to_s = from_s + kStretch.count();
    }
    const auto frame = [&](double at_s) {
        return std::min(span.count, static_cast<std::size_t>(std::lround(at_s * rate)));
    };
    return {span.first + frame(from_s), frame(to_s) - frame(from_s)};
}

}  // namespace rankwright::listening
