// Where the search for two tones begins: the best places of a grid of steady tones, and those that
// the few lowest partials can't tell from them.
#pragma once

#include "listening/pair/bands.h"
#include "listening/pair/pair.h"
#include "listening/pair/search.h"

#include <cstddef>
#include <span>
#include <vector>

namespace rankwright::listening {

/// Two tones' offsets from nominal, Hz of their fundamentals.
struct PairCandidate {
    double reference_offset = 0.0;
    double pipe_offset = 0.0;
    double evidence = 0.0;  ///< ln of likelihood, relative
};

/// How well the reference's pitch is known over a span, Hz: its own uncertainty, and how far a mean
/// wanders from one span to the next.
double reference_sd(const PairRequest& request);
/// What is known of the two over a span before it is heard; the numbers of terms are left to the
/// caller.
PairModel model_of(const PairRequest& request, double span_s);
/// The same, with paths and gains for what two that wander as pipes do need over some seconds.
PairModel model_of_wandering(const PairRequest& request, double span_s);
/// A state of `fit`, which has taken `model`, at the two pitches of `place`, without wander.
PairState start_at(PairFit& fit, const PairModel& model, const PairPlace& place);
/// So many cosines describe a path or a gain over a span.
std::size_t terms_over(double span_s, double a_second, double fewest, double most);
/// No reference strays so far from what is known of it, Hz.
bool far_fetched(double reference_offset, const PairRequest& request);

inline constexpr std::size_t kMostPlaces = 8;
/// A beat that turns less often in the span looks like wander.
inline constexpr double kSlowTurns = 1.5;

/// The peaks of a grid, best first, at most kMostPlaces. `bands` hold the lowest lines of `plan`.
std::vector<PairCandidate> scan(std::span<const PairBand> bands, const PairRequest& request,
                                const PairPlan& plan, double span_s);
/// In a unison either tone can be the reference: adds the other way where that isn't far-fetched.
void add_swapped(std::vector<PairCandidate>& candidates, const PairRequest& request);
/// A beat that turns a few times looks much the same with its sign turned, as far as the lowest
/// partials go: adds the mirror images of the best places, the best first, unless they are there.
void add_mirrored(std::vector<PairCandidate>& candidates, const PairRequest& request,
                  double span_s);
/// Within a turn or so the wander of both makes places that the few lowest partials rank wrongly:
/// adds beats of either sign around the reference as it is known.
void add_slow(std::vector<PairCandidate>& candidates, const PairRequest& request, double span_s);

}  // namespace rankwright::listening
