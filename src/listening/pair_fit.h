// The joint fit of a reference and a pipe to their bands: one phase path for all partials of each,
// amplitudes and slow gains integrated out (variable projection: Golub and Pereyra, SIAM J. Numer.
// Anal. 10(2), 1973; its approximate Hessian: Kaufman, BIT 15(1), 1975).
#pragma once

#include "listening/pair_bands.h"

#include <array>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace rankwright::listening {

/// What the fit takes for granted.
struct PairModel {
    double span_s = 0.0;
    std::array<double, 2>
        nominal_hz{};              ///< of the reference and the pipe: the offsets count from it
    double reference_sd_hz = 0.0;  ///< scale of the reference's offset
    std::size_t wander_terms = 8;  ///< cosines of each phase path
    std::size_t gain_terms = 4;    ///< cosines of each partial's own slow gain
};

/// One place in the space of unknowns. Index 0 is the reference, 1 the pipe.
struct PairState {
    /// Offsets of both (Hz), then both phase paths' coefficients (cycles of the fundamental).
    std::vector<double> unknowns;
    std::array<double, 2> wander{};  ///< rms of each coefficient, cents over 2.4 s
    std::array<double, 2> unrest{};  ///< typical rms of the slow gains' first term, share of level
    struct Band {
        std::array<double, 2> level{};   ///< mean square of the partial's phasor
        std::array<double, 2> unrest{};  ///< of this partial
        double noise = 0.0;              ///< variance of a sample
    };
    std::vector<Band> bands;
    double cost = 0.0;      ///< −ln of likelihood and priors
    double evidence = 0.0;  ///< ln of the integral around this place
};

/// What a fitted state says.
struct PairAnswer {
    std::array<double, 2> offset_hz{};  ///< mean over the span, against nominal
    /// Covariance of the two.
    double variance[2][2] = {};
    /// Variance of each mean by how far its partials disagree.
    std::array<double, 2> scatter{};
    /// Share of the information on each that is limited by the pipes' own rustle.
    std::array<double, 2> rustle{};
};

/// Fits a state to bands. Keeps references to them.
class PairFit {
  public:
    PairFit(std::span<const PairBand> bands, const PairModel& model);

    /// A state with these offsets and no wander; levels and noise from the bands.
    PairState start(double reference_offset_hz, double pipe_offset_hz);
    /// Damped Gauss–Newton with the levels, unrest, wander and noise re-estimated after every step.
    /// Sets cost and evidence.
    void refine(PairState& state, int steps);
    /// Means over the span, weighted by amplitude within a partial and by information over
    /// partials, with their covariance. `state` has to be one just refined.
    PairAnswer answer(PairState& state);

    /// A complex series, parts apart so that sums run in parallel.
    struct Series {
        std::vector<double> re, im;
        std::complex<double> at(std::size_t m) const { return {re[m], im[m]}; }
        double power(std::size_t m) const { return re[m] * re[m] + im[m] * im[m]; }
    };

  private:
    /// `moved`: the unknowns differ from the last time, not only levels and noise.
    void evaluate(const PairState& state, bool curvature, bool moved);
    void lay_tones(std::size_t b, const PairState& state);
    void gather(std::size_t b);
    void evaluate_band(std::size_t b, const PairState& state, bool curvature);
    void add_curvature(std::size_t b, const PairState& state);
    void add_priors(const PairState& state, bool curvature);
    void relevel(PairState& state);
    /// The paths' and the gains' terms at `n` times.
    void lay_basis(double first_s, double step_s, std::size_t n, std::vector<double>& path,
                   std::vector<double>& gain) const;
    struct Slope;
    Slope mean_slope(std::size_t b, std::size_t pipe, const PairState& state,
                     const std::vector<double>& path, const std::vector<double>& gain) const;
    double wander_variance(const PairState& state, std::size_t pipe, std::size_t term) const;
    bool has(std::size_t b, std::size_t pipe) const;
    int partial(std::size_t b, std::size_t pipe) const;

    std::span<const PairBand> bands_;
    PairModel model_;
    std::size_t path_ = 0;       // unknowns of one path: offset and cosines
    std::size_t gains_ = 0;      // linear unknowns of one component
    std::size_t unknowns_ = 0;   // of both
    std::vector<double> share_;  // variance of gain term j against the first

    struct Work {
        std::vector<double> path;        // [path_][n]: ∂(phase)/∂unknown, t and the cosines
        std::vector<double> gain;        // [gains_][n]
        std::vector<double> gain_pairs;  // products of two of them
        double energy = 0.0;
        Series heard;    // z
        Series tone[2];  // e^{2πi·n·φ}
        Series fitted[2];
        Series residual;
        Series product;                               // scratch
        std::vector<std::complex<double>> matched;    // Φᴴz
        std::vector<std::complex<double>> normal;     // factor of A
        std::vector<std::complex<double>> gram;       // ΦᴴΦ
        std::vector<std::complex<double>> amplitude;  // C
        std::vector<std::complex<double>> response;   // [Q][unknowns]: −∂C/∂unknown
    };
    std::vector<Work> work_;
    std::vector<double> hessian_, gradient_, factor_, step_;
    double cost_ = 0.0;
};

}  // namespace rankwright::listening
