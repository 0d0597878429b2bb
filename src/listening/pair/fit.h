// The joint fit of a reference and a pipe to their bands: one phase path for all partials of each,
// amplitudes and slow gains integrated out (variable projection: Golub and Pereyra, SIAM J. Numer.
// Anal. 10(2), 1973; its approximate Hessian: Kaufman, BIT 15(1), 1975).
#pragma once

#include "listening/linear_rows.h"
#include "listening/pair/bands.h"
#include "listening/pair/partial_shares.h"
#include "listening/slow_terms.h"

#include <algorithm>
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
    double pipe_sd_hz = 20.0;      ///< of the pipe's, which is hardly known
    std::size_t wander_terms = 8;  ///< cosines of each phase path
    std::size_t gain_terms = 4;    ///< cosines of each partial's own slow gain
    double pipe_from_s = -1e9;     ///< the pipe is silent before, from the span's middle
    double means_from_s = -1e9;    ///< what is asked for are means from here to the span's end
    double means_over_s() const { return std::min(span_s, 0.5 * span_s - means_from_s); }
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
    /// The same where no partial lends to another.
    std::array<double, 2> as_weighed_hz{};
    /// Covariance of the two.
    double variance[2][2] = {};
    /// Variance of each mean by how far its partials disagree.
    std::array<double, 2> scatter{};
    /// Share of the information on each that is limited by the pipes' own rustle.
    std::array<double, 2> rustle{};
};

/// Fits a state to bands. Keeps references to them. Its work space is used again by the next
/// take(), which allocates only where more is needed than ever before.
class PairFit {
  public:
    PairFit() = default;
    PairFit(std::span<const PairBand> bands, const PairModel& model) { take(bands, model); }
    void take(std::span<const PairBand> bands, const PairModel& model);

    /// As PairModel::means_from_s.
    void ask_from(double means_from_s) { model_.means_from_s = means_from_s; }
    /// A state fitted to another span, brought to this one: `later_s` from that span's middle to
    /// this one's. Beyond its old ends a path goes on straight.
    void carry(PairState& state, const PairModel& old, double later_s);

    /// A state with these offsets and no wander; levels and noise from the bands.
    PairState start(double reference_offset_hz, double pipe_offset_hz);
    /// Damped Gauss–Newton with the levels, unrest, wander and noise re-estimated after every step.
    /// Sets cost and evidence.
    void refine(PairState& state, int steps);
    /// Means over the span, weighted by amplitude within a partial and over partials by share_out,
    /// with their covariance. `state` has to be one just refined.
    PairAnswer answer(const PairState& state);
    /// The same over a part of the time that means are asked for, from −0.5 to 0.5, for the state
    /// answered for last.
    PairAnswer part(const PairState& state, double from, double to);
    /// How many turns lie between the extremes of the phase of one's `partials` against the
    /// other's, from `from_s` after the span's middle to its end. For the model taken last.
    double turns(const PairState& state, double from_s, std::array<int, 2> partials) const;
    /// One tone's phasor in band `b`, `at_s` from the span's middle; after the span the wander
    /// stands still. For the state fitted or asked last.
    std::complex<double> tone(std::size_t b, std::size_t pipe, const PairState& state,
                              double at_s) const;

  private:
    /// `moved`: the unknowns differ from the last time, not only levels and noise.
    void evaluate(const PairState& state, bool curvature, bool moved);
    void lay_work(std::size_t b);
    /// What the amplitudes need of conj(tone)·sound and conj(tone)·tone, and the curvature besides.
    SlowMoments::Orders of_sound(bool curvature) const {
        if (!curvature) return {gains_, 0, 0};
        return {gains_ + path_ - 1, gains_, 0};
    }
    SlowMoments::Orders of_tones(bool curvature) const {
        const std::size_t two = 2 * gains_ - 1;
        if (!curvature) return {two, 0, 0};
        return {two + 2 * (path_ - 1), two + path_ - 1, two};
    }
    void lay_points(double first_s, double step_s);
    void lay_tones(std::size_t b, const PairState& state);
    std::size_t first_of_pipe(std::size_t b) const;
    void gather(std::size_t b, bool curvature);
    void lay_matrix(std::size_t b);
    void evaluate_band(std::size_t b, const PairState& state, bool curvature);
    void add_curvature(std::size_t b, const PairState& state);
    void add_gradient(std::size_t b, std::size_t i, double factor);
    void add_hessian(std::size_t i, std::size_t l, double factor, const SlowMoments& fitted);
    /// Variance expected of gain `j` of one's partial; 1 where there is no such partial.
    double spread(std::size_t b, const PairState::Band& band, std::size_t i, std::size_t j) const {
        if (!has(b, i)) return 1.0;
        return band.level[i] * (j == 0 ? 1.0 : band.unrest[i] * band.unrest[i] * share_[j]);
    }
    void add_priors(const PairState& state, bool curvature);
    void relevel(PairState& state);
    /// Term `j` of a path, in cycles by its unknown, and of a gain. The path's first is its offset.
    SlowTerm path_term(std::size_t j) const;
    static SlowTerm gain_term(std::size_t j);
    /// Slope of the phase k·φ + arg(gain) of one partial, weighted by |gain|², in Hz of the
    /// fundamental, with its derivatives by the path's unknowns and by the gain's coefficients.
    struct Slope {
        double slope = 0.0;
        double weight = 0.0;  ///< information on it
        std::vector<double> by_path;
        std::vector<std::complex<double>> by_gain;
    };
    void mean_slope(std::size_t b, std::size_t pipe, const PairState& state, Slope& result);
    double variance_by_gains(std::size_t b, const Slope& slope, const PairState& state);
    bool rustles(std::size_t b, const PairState& state) const;
    void add_by_unknowns(std::size_t b, std::size_t pipe, double share);
    void mean_of_pipe(std::size_t pipe, const PairState& state, double over_s, PairAnswer& answer);
    /// Usual size of one cosine of the frequency's path (Hz).
    double wander_over_span(const PairState& state, std::size_t pipe) const;
    double wander_variance(const PairState& state, std::size_t pipe, std::size_t term) const;
    bool has(std::size_t b, std::size_t pipe) const;
    int partial(std::size_t b, std::size_t pipe) const;

    std::span<const PairBand> bands_;
    PairModel model_;
    std::size_t path_ = 0;       // unknowns of one path: offset and cosines
    std::size_t gains_ = 0;      // linear unknowns of one component
    std::size_t unknowns_ = 0;   // of both
    std::vector<double> share_;  // variance of gain term j against the first
    double log_shares_ = 0.0;    // Σ ln of these
    SlowTerms path_terms_, gain_terms_;
    std::vector<double> turns_;  // of each path term's cosine

    struct Work {
        SlowRows rows;
        double energy = 0.0, count = 0.0;  // of what was heard
        std::vector<double> mask;          // 1 where it was, 0 where it was hidden
        SlowSeries heard;                  // z
        SlowSeries tone[2];                // e^{2πi·n·φ}
        // Moments of conj(tone)·z, |tone|², and conj(the pipe's)·the reference's.
        SlowMoments matches[2], powers[2], cross;
        std::vector<std::complex<double>> matched;    // Φᴴz
        std::vector<std::complex<double>> normal;     // factor of A
        std::vector<std::complex<double>> gram;       // ΦᴴΦ
        std::vector<std::complex<double>> amplitude;  // C
        double left = 0.0;                            // of the energy
        SideBySide response;                          // Φᴴ∂(fitted)/σ² by the factor of A
        std::vector<std::complex<double>> change;  // [unknowns][Q]: −∂C/∂unknown, once answered
    };
    std::vector<Work> work_;
    std::vector<double> hessian_, gradient_, factor_, step_, held_gradient_, taken_up_;
    // Scratch of one band.
    std::vector<double> cycles_, row_, diagonal_, room_;
    SlowSeries product_;
    std::array<std::vector<std::complex<double>>, 2> gain_;  // of each cosine of a gain
    SlowMoments by_tone_, crossed_, fitted_, heard_;         // of products with what is fitted
    // For answer() and carry().
    std::vector<double> carried_, points_path_, points_gain_;
    std::vector<std::complex<double>> gains_at_;
    std::vector<Slope> slopes_;  // of each band
    std::vector<PartialSlope> said_;
    PartialShares shares_;
    std::vector<std::complex<double>> conjugate_;
    std::array<std::vector<double>, 2> by_;  // ∂(mean)/∂unknowns
    PairState next_;
    double cost_ = 0.0;
    std::vector<double> evaluated_;  // unknowns for which the curvature was made last
    bool curved_ = false;            // and nothing has been evaluated since
};

}  // namespace rankwright::listening
