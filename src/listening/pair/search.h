// Looks for the places in the space of two pitches that explain a sound.
#pragma once

#include "listening/pair/bands.h"
#include "listening/pair/fit.h"
#include "listening/pair/pair.h"
#include "listening/pair/plan.h"

#include <array>
#include <optional>
#include <span>
#include <vector>

namespace rankwright::listening {

/// One explanation of the sound.
struct PairPlace {
    double reference_hz = 0.0;  ///< mean pitch
    double pipe_hz = 0.0;       ///< mean pitch
    /// Where the two were found, each partial counting by its own weight: from here the next fit
    /// starts.
    std::array<double, 2> found_hz{};
    double beat_variance = 0.0;
    double rustle = 0.0;   ///< share of the information limited by the pipes' own rustle
    double scatter = 0.0;  ///< variance of the beat by how far partials disagree
    double evidence = 0.0;
    std::array<double, 2> power{};  ///< of the reference's and the pipe's partials
    /// The same in the lowest lines alone.
    std::array<double, 2> low_power{};
    double beat(const PairRequest& request) const {
        return request.pipe_partial * pipe_hz - request.reference_partial * reference_hz;
    }
};

/// `thorough` starts from more places where the beat is slow, for three times the work;
/// `exhaustive` also asks whether two that hardly beat are one, and the other a third tone.
enum class SearchEffort { quick, thorough, exhaustive };

/// All explanations within reach of the best, best first.
std::vector<PairPlace> find_places(std::span<const float> samples, const PairRequest& request,
                                   const PairPlan& plan, SearchEffort effort = SearchEffort::quick);

/// Rustle is denser next to a partial than on the whole of its band, and slow. Where it rules, what
/// PairFit::answer says of the variance is so many times too small, and what "the mean pitch" means
/// is not defined more narrowly than `defined_per_hz` (relative, a hertz of pitch).
struct PairDoubt {
    double rustle = 1.0;
    double defined_per_hz = 0.0;
};

/// The value that explanations, best first and at least one, give by their weights, with what is
/// not known of it.
BeatReading weigh(std::span<const PairPlace> places, const PairRequest& request,
                  const PairDoubt& doubt);

/// Whether both tones of an explanation are strong enough to be pipes. `times`: how much stronger
/// than what passes for a second tone in a pipe that has long stood.
bool holds_two(const PairPlace& place, double times = 1.0);

/// A state fitted to `bands` as an explanation.
PairPlace place_of(const PairState& state, const PairAnswer& answer, const PairModel& model,
                   std::span<const PairBand> bands, const PairRequest& request);

}  // namespace rankwright::listening
