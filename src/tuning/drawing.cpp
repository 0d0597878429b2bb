#include "tuning/drawing.h"

#include "listening/partial_power.h"
#include "listening/wander.h"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <numbers>

namespace rankwright::tuning {

namespace {

constexpr double kAlarm = 3.0;     // standard deviations: 0.3 % of a Gaussian lie outside
constexpr double kMiss = 1.645;    // 5 % of a Gaussian lie beyond, on one side
constexpr double kTogether = 0.4;  // what stays under this share of the beat alone is no beat

// Two pipes that sound apart leave the quieter one's power unexplained when they are read as one:
// the reading's ratio of tone to noise can't be much above that of their levels. Decibels above.
constexpr double kOne = 12.0;        // surely one tone
constexpr double kPerhapsOne = 6.0;  // no longer surely two

double level_db(const listening::PitchReading& reading) {
    return 10.0 * std::log10(1e-20 + power(reading.partials));
}

/// By how much one tone explains both better than it could if they sounded apart, decibels.
double oneness(const DrawingEvidence& e) {
    if (!e.as_one) return -100.0;
    return e.as_one->snr.value() - std::abs(level_db(*e.reference) - level_db(*e.pipe));
}

std::string with_figure(const char* format, double cents) {
    char text[160];
    std::snprintf(text, sizeof text, format, std::abs(cents));
    return text;
}

std::string advice(Drawing drawing, double alone_cents, bool beat_heard) {
    switch (drawing) {
        case Drawing::hear_alone:
            return beat_heard ? "Whether they draw each other is known once each is heard alone."
                              : "No beat, but they may be pulled together: hear the pipe alone.";
        case Drawing::unclear:
            return "Whether they draw each other can't be told yet: hear each alone for longer.";
        case Drawing::not_drawn:
            return "They don't draw each other.";
        case Drawing::pulled_together:
            return with_figure(
                "Pulled together; alone they are %.1f cents apart. Hear the pipe "
                "alone and tune it alone.",
                alone_cents);
        case Drawing::drawn_nearer:
            return with_figure(
                "They draw each other and beat too slowly; alone they are %.1f cents "
                "apart. Hear the pipe alone.",
                alone_cents);
        case Drawing::pushed_apart:
            return with_figure(
                "They push each other apart and beat too fast; alone they are %.1f "
                "cents apart. Hear the pipe alone.",
                alone_cents);
    }
    return {};
}

}  // namespace

Cents usual_stray(Hertz pitch, Seconds span) {
    const double slow = 0.35 * listening::wander_along_compass(pitch);
    // The mean over a span of T of what forgets itself in a time τ has 2τ/T of its variance.
    constexpr double kMemory_s = 0.8;
    return Cents{slow * std::sqrt(std::min(1.0, 2.0 * kMemory_s / span.count()))};
}

DrawingVerdict judge_drawing(const DrawingEvidence& e) {
    DrawingVerdict verdict;
    const bool beats = e.together && !e.together->under;
    const bool heard_together = e.together || e.as_one;
    if (!e.reference || !e.pipe || !heard_together) {
        verdict.advice = advice(verdict.drawing, 0.0, beats || !heard_together);
        return verdict;
    }
    const double m = e.reference_partial, n = e.pipe_partial;
    const double cent = m * e.reference->pitch.value() * std::numbers::ln2 / 1200.0;
    const double alone = (n * e.pipe->pitch.value() - m * e.reference->pitch.value()) / cent;
    // Without its sign, which drawing doesn't turn and the ear may mistake.
    const double together = e.together ? std::abs(e.together->beat.value()) / cent : 0.0;
    const double together_sd = e.together ? e.together->beat_sd.value() / cent : 0.0;
    // Each pipe strays once alone and once beside the other.
    const double variance = std::pow(n * e.pipe->sd.value() / cent, 2) +
                            std::pow(m * e.reference->sd.value() / cent, 2) +
                            4.0 * e.stray.value() * e.stray.value();
    const double alone_sd = std::sqrt(variance);
    const double sd = std::hypot(alone_sd, together_sd);
    const double one = oneness(e);
    // "Under x" leaves open where between −x and x: the place nearest to the beat alone counts.
    const bool only_one = one > kOne || !e.together;
    const bool slow = only_one || e.together->under;
    const double under = !only_one && slow ? e.together->under->value() / cent : 0.0;
    const double change =
        slow ? std::max(0.0, std::abs(alone) - under) : std::abs(together - std::abs(alone));
    const double needed = kAlarm * (slow ? alone_sd : sd);
    const double most = slow ? under : together + 2.0 * together_sd;

    verdict.alone = Cents{alone};
    verdict.drawn_by = Cents{(slow ? under : together) - std::abs(alone)};
    if (!e.together && one <= kPerhapsOne) {
        // Neither two tones nor one: the ear failed, the pipes didn't.
        verdict.drawing = Drawing::unclear;
    } else if (change > needed) {
        if (most < kTogether * std::abs(alone))
            verdict.drawing = Drawing::pulled_together;
        else if (one > kPerhapsOne)
            verdict.drawing = Drawing::unclear;
        else if (slow || together < std::abs(alone))
            verdict.drawing = Drawing::drawn_nearer;
        else
            verdict.drawing = Drawing::pushed_apart;
    } else {
        const double unseen = slow ? std::abs(alone) + under : change;
        const bool seen = unseen + kMiss * (slow ? alone_sd : sd) < e.matters.value();
        verdict.drawing = seen ? Drawing::not_drawn : Drawing::unclear;
    }
    verdict.advice = advice(verdict.drawing, alone, beats);
    return verdict;
}

}  // namespace rankwright::tuning
