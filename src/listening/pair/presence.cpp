#include "listening/pair/presence.h"

#include "listening/pair/candidates.h"
#include "listening/pair/fit.h"
#include "listening/pair/plan.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <complex>
#include <cstddef>
#include <optional>
#include <utility>
#include <vector>

namespace rankwright::listening {

namespace {

constexpr std::size_t kPresenceLines = 12;
constexpr double kPresenceRoom_hz = 0.6;  // beside the two, for their wander
constexpr int kPresenceSteps = 8;
/// One is taken to be silent for whole steps, longer ones in a long recording, and both to be heard
/// for so long at least.
constexpr double kSilenceStep_s = 0.1;
constexpr double kMostSteps = 60.0;
constexpr double kLeastOfBoth_s = 0.6;
/// By how much more (ln of evidence) a silence has to explain the sound before it is believed. Of
/// 240 pairs of whole recorded pipes 52 silences were found so, 44 of them true; the others were
/// short, or of two that hardly beat.
constexpr double kSilent = 30.0;
/// A silence that is taken too long explains so much less, a few steps on: one that has no such end
/// is a second tone that nothing needs.
constexpr double kEnds = 20.0;
constexpr std::size_t kEndsWithin = 4;
/// One may begin late and another end early.
constexpr int kMostSilences = 2;

/// What one of the two is silent for, from one end of the sound.
struct Silence {
    bool after = false;  ///< from its end backwards
    double for_s = 0.0;
    double gain = 0.0;  ///< ln of evidence over no silence
};

/// Heard backwards: each tone turns the other way in time, and its conjugate the same way again.
void turn_back(std::vector<PairBand>& bands) {
    for (PairBand& band : bands) {
        const double last_s = band.first_s + static_cast<double>(band.z.size() - 1) / band.rate;
        band.first_s = -last_s;
        std::reverse(band.z.begin(), band.z.end());
        for (std::complex<double>& z : band.z)
            z = std::conj(z);
    }
}

/// Two tones of which the second, as the fit counts them, may be silent at first.
struct Two {
    std::vector<PairBand> bands;
    PairModel model;
    std::array<double, 2> hz{};

    void swap() {
        for (PairBand& band : bands)
            std::swap(band.line.reference_partial, band.line.pipe_partial);
        std::swap(model.nominal_hz[0], model.nominal_hz[1]);
        std::swap(model.reference_sd_hz, model.pipe_sd_hz);
        std::swap(hz[0], hz[1]);
    }

    /// With the second silent for the first `silent_s`.
    double evidence(double silent_s) {
        model.pipe_from_s = silent_s - 0.5 * model.span_s;
        PairFit fit(bands, model);
        PairState state = fit.start(hz[0] - model.nominal_hz[0], hz[1] - model.nominal_hz[1]);
        fit.refine(state, kPresenceSteps);
        return state.evidence;
    }
};

/// The silence of the second that explains most, if it has an end. `none`: evidence without one.
std::optional<Silence> longest_likely(Two& two, double none) {
    const double step_s = std::max(kSilenceStep_s, two.model.span_s / kMostSteps);
    std::vector<double> gains;
    for (double for_s = step_s; for_s < two.model.span_s - kLeastOfBoth_s; for_s += step_s)
        gains.push_back(two.evidence(for_s) - none);
    if (gains.empty()) return std::nullopt;
    const auto most = std::max_element(gains.begin(), gains.end());
    const auto after = gains.end() - most > static_cast<std::ptrdiff_t>(kEndsWithin)
                           ? most + kEndsWithin + 1
                           : gains.end();
    if (!(*std::min_element(most, after) < *most - kEnds)) return std::nullopt;
    return Silence{false, static_cast<double>(most - gains.begin() + 1) * step_s, *most};
}

/// Nothing where two aren't heard; of no length where both sound throughout.
std::optional<Silence> most_likely_silence(std::span<const float> samples,
                                           const PairRequest& request) {
    const auto reading = measure_pair(samples, request);
    if (!reading) return std::nullopt;
    Silence best;
    const PairPlan plan = plan_pair(samples, request);
    const double beat = reading->beat.value();
    Two two{
        cut_bands(samples, request, plan, telling_lines(plan.lines, kPresenceLines),
                  std::min(0.0, beat) - kPresenceRoom_hz, std::max(0.0, beat) + kPresenceRoom_hz),
        model_of_wandering(request, static_cast<double>(samples.size()) / request.rate.value()),
        {reading->reference.value(), reading->pipe.value()}};
    if (two.bands.empty()) return best;
    const double none = two.evidence(0.0);
    for (const bool after : {false, true}) {
        for (int either = 0; either < 2; ++either) {
            two.swap();
            const auto silence = longest_likely(two, none);
            if (silence && silence->gain > std::max(best.gain, kSilent))
                best = {after, silence->for_s, silence->gain};
        }
        turn_back(two.bands);
    }
    return best;
}

}  // namespace

SteadySpan both_present(std::span<const float> samples, const PairRequest& request,
                        SteadySpan span) {
    SteadySpan heard = span;
    for (int silences = 0; silences <= kMostSilences; ++silences) {
        const auto silence = most_likely_silence(samples.subspan(span.first, span.count), request);
        if (!silence) return heard;
        heard = span;
        const auto silent = static_cast<std::size_t>(silence->for_s * request.rate.value());
        if (silent == 0 || silences == kMostSilences) return heard;
        if (!silence->after) span.first += silent;
        span.count -= silent;
    }
    return heard;
}

}  // namespace rankwright::listening
