#include "listening/pair/presence.h"

#include "listening/pair/candidates.h"
#include "listening/pair/fit.h"
#include "listening/pair/plan.h"

#include <algorithm>
#include <array>
#include <complex>
#include <cstddef>
#include <optional>
#include <utility>
#include <vector>

namespace rankwright::listening {

namespace {

constexpr std::size_t kPresenceLines = 12;
constexpr int kPresenceSteps = 8;
/// Through so much of a sound one path follows a pipe's wander, longer in the bass; of more, its
/// two ends are heard.
constexpr double kHeardAtOnce_s = 3.6;
constexpr double kHeardLonger_s = 6.0;
constexpr double kHeardLongerBelow_hz = 400.0;
/// One is taken to be silent for whole steps, and both to be heard for so long at least.
constexpr double kSilenceStep_s = 0.1;
constexpr double kLeastOfBoth_s = 0.6;
/// By how much more (ln of evidence) a silence has to explain the sound before it is believed. Of
/// 240 pairs of whole recorded pipes 52 silences were found so, 44 of them true; the others were
/// short, or of two that hardly beat.
constexpr double kSilenceGain = 30.0;
/// A silence that is taken too long explains so much less, a few steps on: one that has no such end
/// is a second tone that nothing needs.
constexpr double kSilenceEnds = 20.0;
constexpr std::size_t kSilenceEndsWithin = 4;
/// One may begin late and another end early.
constexpr int kMostSilences = 2;

/// What one of the two is silent for, from one end of the sound.
struct Silence {
    double for_s = 0.0;
    double gain = 0.0;   ///< ln of evidence over no silence
    bool after = false;  ///< from its end backwards
};

/// Heard backwards (of all of a sound, nothing hidden): each tone turns the other way in time, and
/// its conjugate the same way again.
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
struct TwoTones {
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
std::optional<Silence> silence_of_second(TwoTones& two, double none) {
    std::vector<double> gains;
    for (double for_s = kSilenceStep_s; for_s < two.model.span_s - kLeastOfBoth_s;
         for_s += kSilenceStep_s)
        gains.push_back(two.evidence(for_s) - none);
    if (gains.empty()) return std::nullopt;
    const auto most = std::max_element(gains.begin(), gains.end());
    const auto after = gains.end() - most > static_cast<std::ptrdiff_t>(kSilenceEndsWithin)
                           ? most + kSilenceEndsWithin + 1
                           : gains.end();
    if (!(*std::min_element(most, after) < *most - kSilenceEnds)) return std::nullopt;
    return Silence{static_cast<double>(most - gains.begin() + 1) * kSilenceStep_s, *most};
}

/// Where one of them is looked for as silent.
struct Ends {
    bool first = true, last = true;
};

/// Empty where both sound throughout. `reading`: of all of `samples`.
std::optional<Silence> most_likely_silence(std::span<const float> samples, PairRequest request,
                                           const BeatReading& reading, Ends ends) {
    if (reading.reference_contradicted) {
        request.reference = reading.reference;
        request.reference_sd = {};
    }
    const PairPlan plan = plan_pair(samples, request);
    TwoTones two{
        bands_of_two(samples, request, plan, kPresenceLines, reading.beat.value()),
        model_of_wandering(request, static_cast<double>(samples.size()) / request.rate.value()),
        {reading.reference.value(), reading.pipe.value()}};
    std::optional<Silence> best;
    if (two.bands.empty()) return best;
    const double none = two.evidence(0.0);
    for (const bool after : {false, true}) {
        for (int either = 0; either < 2; ++either) {
            two.swap();
            if (!(after ? ends.last : ends.first)) continue;
            const auto silence = silence_of_second(two, none);
            if (!silence || !(silence->gain > (best ? best->gain : kSilenceGain))) continue;
            best = silence;
            best->after = after;
        }
        turn_back(two.bands);
    }
    return best;
}

/// `reading`: of `span`.
SteadySpan without_silences(std::span<const float> samples, const PairRequest& request,
                            SteadySpan span, std::optional<BeatReading> reading, Ends ends) {
    for (int silences = 0; reading && silences < kMostSilences; ++silences) {
        const auto silence =
            most_likely_silence(samples.subspan(span.first, span.count), request, *reading, ends);
        if (!silence) break;
        const auto silent = static_cast<std::size_t>(silence->for_s * request.rate.value());
        const SteadySpan left{silence->after ? span.first : span.first + silent,
                              span.count - silent};
        reading = measure_pair(samples.subspan(left.first, left.count), request);
        if (reading) span = left;
    }
    return span;
}

}  // namespace

SteadySpan both_present(std::span<const float> samples, const PairRequest& request, SteadySpan span,
                        const BeatReading& reading) {
    const double meets_hz = request.reference_partial * request.reference.value();
    const auto at_once =
        static_cast<std::size_t>(std::clamp(kHeardAtOnce_s * kHeardLongerBelow_hz / meets_hz,
                                            kHeardAtOnce_s, kHeardLonger_s) *
                                 request.rate.value());
    if (span.count <= at_once)
        return without_silences(samples, request, span, reading, {true, true});
    const auto at_end = [&](SteadySpan part, Ends ends) {
        const auto heard = measure_pair(samples.subspan(part.first, part.count), request);
        return without_silences(samples, request, part, heard, ends);
    };
    const std::size_t end = span.first + span.count;
    const SteadySpan begins = at_end({span.first, at_once}, {true, false});
    const SteadySpan ended = at_end({end - at_once, at_once}, {false, true});
    return {begins.first, ended.first + ended.count - begins.first};
}

}  // namespace rankwright::listening
