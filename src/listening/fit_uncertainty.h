// How sure a harmonic fit is, beyond the noise: partials that disagree, and wander.
#pragma once

#include <array>
#include <cstddef>
#include <span>

namespace rankwright::listening {

/// One partial's own answer, beside the common one.
struct PartialSlope {
    double offset = 0.0;       ///< its pitch minus the common one, in rad/frame of the fundamental
    double information = 0.0;  ///< 1 / variance of that by noise alone; > 0
};

/// Variance that the partials' disagreement beyond noise gives their information-weighted mean.
/// Each partial wanders a little by itself (wind, standing waves), in cents about alike: how much
/// is taken from all offsets together by the moment estimate of DerSimonian & Laird, Controlled
/// Clinical Trials 7(3), 1986, p. 177, so that a mean ruled by one partial, whose own offset is
/// therefore small, doesn't look exact. Zero for fewer than two partials or when noise explains
/// the offsets.
double scatter_variance(std::span<const PartialSlope> partials);

/// The slow movement of a phase over a span, in Legendre polynomials of unit mean square: [1] is a
/// line, [2] a bow. [0] stays unused.
struct PhaseModes {
    static constexpr int kMost = 24;
    int count = 0;
    std::array<double, kMost + 1> size{};
};

/// The polynomials of degree 0 to `count` at the middle of block `b` of `blocks`.
std::array<double, PhaseModes::kMost + 1> legendre(std::size_t b, std::size_t blocks, int count);

/// The modes of `phase`, one value for each block.
PhaseModes modes_of(std::span<const double> phase, int count);

/// The mean of the pitch itself (the phase gained from end to end) differs from the slope of the
/// line when the pitch wanders: the variance to expect of that, in radians² over the span, from the
/// middle modes and from how real pipes' modes fall; `mode_noise` is the variance of noise in each
/// mode. Zero when noise explains the modes.
double mean_beside_slope_variance(const PhaseModes& modes, double mode_noise);

}  // namespace rankwright::listening
