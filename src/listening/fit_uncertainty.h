// How sure a harmonic fit is, beyond the noise: partials that disagree, and wander.
#pragma once

#include <span>

namespace rankwright::listening {

/// One partial's own answer, beside the common one.
struct PartialSlope {
    double offset = 0.0;       ///< its pitch minus the common one, in rad/frame of the fundamental
    double information = 0.0;  ///< 1 / variance of that by noise alone; > 0
};

/// Variance that the partials' disagreement beyond noise gives their weighted mean. Each partial
/// has slow wanderings of its own (wind, standing waves); where they show, the information-weighted
/// mean's variance is taken from the offsets themselves: White, Econometrica 48(4), 1980, p. 817,
/// with the leverage correction HC2 of MacKinnon & White, J. Econometrics 29(3), 1985, p. 305.
/// Zero for fewer than two partials or when noise explains the offsets.
double scatter_variance(std::span<const PartialSlope> partials);

/// The slow movement of the common pitch over a span.
struct Wander {
    /// Variance of the mean of the pitch itself about the least-squares slope of its phase: two
    /// things that both are "the mean pitch", and differ when the pitch wanders.
    double mean_variance = 0.0;
    /// The pitch at the end of the span minus the mean, and the variance of that.
    double end_offset = 0.0;
    double end_variance = 0.0;
};

/// From the common residual phase of the fundamental (radians, one value for each block, any line
/// taken out) and the variance of its noise. `block`: frames. Results in rad/frame and its square.
Wander wander_of(std::span<const double> phase, double noise_variance, double block);

}  // namespace rankwright::listening
