// The joint fit of a key's pipes to their bands: one phase path for all partials of a pipe,
// amplitudes and slow gains Gaussian and integrated out, levels by the evidence (MacKay, Neural
// Computation 4(3), 1992).
#pragma once

#include "listening/mixture/bands.h"
#include "listening/mixture/table.h"

#include <cmath>
#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace rankwright::listening {

inline constexpr double kBrokenCost = 1e12;  ///< of a band whose system can't be solved

struct MixtureModel {
    struct Pipe {
        double nominal_hz = 0.0;
        double centre = 0.0;  ///< where its deviation is expected, cents
        double sd = 6.0;      ///< how far around, cents
        bool sure = false;    ///< it sounds: not to be judged
    };
    std::vector<Pipe> pipes;
    double span_s = 0.0;
    std::size_t wander_terms = 0;
    std::size_t gain_terms = 1;
    double temper = 0.4;
    /// Of a partial's gains, the first term's share of its power at most.
    double most_unrest = 0.1;
    /// All that sounds is laid where it stands: an extra tone is weighed against what is left on
    /// either side of it.
    bool places_known = false;

    /// Of one pitch: nothing but what was known before tells which is which.
    bool twins(std::size_t i, std::size_t j) const {
        return i != j && !pipes[i].sure && !pipes[j].sure &&
               std::abs(pipes[i].nominal_hz - pipes[j].nominal_hz) < 1e-9 * pipes[i].nominal_hz;
    }
};

struct MixtureState {
    std::vector<double> unknowns;  ///< [pipe][1 + wander_terms]: cents
    std::vector<char> present;     ///< by pipe
    std::vector<double>
        level;  ///< by pipe: ln of the power of its fundamental, as its partials suggest
    std::vector<double> loud;    ///< by pipe: ln of the power of its loudest partial
    std::vector<double> wander;  ///< by pipe: sd of the first wander term, cents
    struct Tone {
        double power = 0.0;   ///< prior variance of the phasor
        double unrest = 0.0;  ///< of the first gain term, share of power
        double found = 0.0;   ///< mean square of the phasor as fitted
    };
    struct Band {
        std::vector<Tone> tones;
        double noise = 0.0;
    };
    std::vector<Band> bands;
    double cost = 0.0;
    double evidence = 0.0;
};

/// One more steady tone in a band beside those fitted: its likeliest power and that figure's
/// variance by noise and by what the fitted tones may be taken for.
struct MixtureExtraTone {
    double power = 0.0;
    double variance = 0.0;
};

/// A pipe's mean pitch, cents from nominal, and the variance of it by its partials' slopes; the
/// fit's own doubt (covariance) comes on top.
struct MixtureMean {
    double cents = 0.0;
    double variance = 0.0;  ///< cents²
};

/// One partial as fitted, and its own slope beside the pipe's common path.
struct MixturePartial {
    int partial = 1;
    double found = 0.0;  ///< power
    double cents = 0.0;
    double variance = 0.0;     ///< by noise and by the other pipes' unrest, cents²
    double information = 0.0;  ///< in noise alike for all
};

/// What is heard of a pipe: power of all its partials, and the highest that is within 40 dB of its
/// loudest (0: none).
struct MixtureHeard {
    double power = 0.0;
    int highest_strong = 0;
};

class MixtureFit {
  public:
    MixtureFit(std::span<const MixtureBand> bands, const MixtureModel& model);
    const MixtureModel& model() const { return model_; }
    std::span<const MixtureBand> bands() const { return bands_; }

    /// Only these bands count from now on (all at first).
    void use(std::vector<char> bands) { used_ = std::move(bands); }
    bool uses(std::size_t band) const { return used_[band] != 0; }
    MixtureState start() const;
    /// With the first pipes of the model where `found`, which has one unknown a pipe, has its
    /// pipes `which`.
    MixtureState start_at(const MixtureState& found, std::span<const std::size_t> which) const;
    void refine(MixtureState& state, int steps);
    /// Only cost (and evidence without curvature).
    double cost(const MixtureState& state);
    /// Levels and noise from the amplitudes at this place, `rounds` times.
    void settle(MixtureState& state, int rounds);
    /// What remains of a band when all fitted tones are taken out (settle or refine before).
    void residual(std::size_t band, const MixtureState& state, std::vector<double>& re,
                  std::vector<double>& im);
    /// Covariance of the deviations' means over the span; after refine.
    std::vector<double> covariance(const MixtureState& state);
    /// Whether the fit has left the pipe anything to be heard by: some partial of it is clear of
    /// noise and of what the others' unrest puts there.
    bool stands_out(const MixtureState& state, std::size_t pipe) const;
    MixtureHeard heard(const MixtureState& state, std::size_t pipe) const;
    /// Power of all tones fitted within `apart_hz` of there, together; 0 where none is.
    double power_at(const MixtureState& state, double hz, double apart_hz);
    /// Those that tell the pipe's pitch.
    std::vector<MixturePartial> partials(const MixtureState& state, std::size_t pipe);
    /// Mean of the pipe's common path, from which its partials' slopes count; in the fit's cents.
    double mean_path(const MixtureState& state, std::size_t pipe) const;
    /// The pitch over the span, by the slopes of the pipe's partials' phases.
    MixtureMean mean(const MixtureState& state, std::size_t pipe);
    std::size_t terms() const { return 1 + model_.wander_terms; }
    std::size_t gains() const { return 1 + model_.gain_terms; }
    /// Bands with tones of this pipe.
    std::span<const std::size_t> bands_of(std::size_t pipe) const { return bands_of_[pipe]; }
    /// Whether the two pipes have tones in a common band.
    bool share_bands(std::size_t pipe, std::size_t other) const;
    /// Readies a band for extra_tone.
    void hear_remainder(std::size_t band, const MixtureState& state);
    MixtureExtraTone extra_tone(std::size_t band, double hz);

  private:
    using Complex = std::complex<double>;
    struct Series {
        std::vector<double> re, im;
        void resize(std::size_t n) { re.resize(n), im.resize(n); }
    };
    /// One more tone beside those fitted.
    struct LoneTone : Series {
        std::vector<Complex> shadow;  // on the fitted tones, and on the lines laid before it
        Complex met;
        double information = 0.0;
        double stiffness = 0.0, pivot = 1.0;  // of a line: 1 over its variance beforehand
    };
    struct Work {
        std::vector<std::size_t> active;       // tones
        std::vector<double> laid;              // unknowns of their pipes when they were laid
        std::vector<double> re, im;            // [active][n] tones
        std::vector<double> rest_re, rest_im;  // what the tones leave, by hear_remainder
        std::vector<double> rest_power;        // of its lines a cycle over the band's length apart
        std::vector<double> stiffness;         // of the fitted tones' terms, by hear_remainder
        std::vector<LoneTone> between;         // halfway between the partials of the fitted pipes
        std::vector<Complex> gram, matched, factor, amplitude;
        std::vector<double> posterior;  // diagonal of A⁻¹
        double noise = 1.0, cost = 0.0;
    };
    bool laid(std::size_t b, const MixtureState& state);
    void lay_tones(std::size_t b, const MixtureState& state);
    void gather(std::size_t b);
    void solve_band(std::size_t b, const MixtureState& state);
    /// Of a gain term's amplitude, beforehand.
    double variance(const MixtureState::Tone& tone, std::size_t gain) const;
    /// A tone that stands at `hz` when its pipe stands at its nominal pitch.
    void lay_path(std::size_t b, double hz, const double* unknowns, double* re, double* im);
    void lay_between(std::size_t b, const MixtureState& state);
    void weigh(std::size_t b, LoneTone& tone);
    double variance_in(std::size_t b, const LoneTone& tone, double noise) const;
    void lay_rest_power(std::size_t b);
    double noise_beside(std::size_t b, double hz) const;
    /// The a-th active tone as fitted, into fitted_.
    void lay_fitted(std::size_t b, std::size_t a);
    double slope_share(std::size_t term) const;
    double own_slope(std::size_t b, std::size_t a, const std::vector<double>& re,
                     const std::vector<double>& im);
    double stray(std::size_t b, std::size_t a, const MixtureState& state) const;
    void evaluate(std::size_t b, const MixtureState& state);
    void add_curvature(std::size_t b, const MixtureState& state);
    void relevel(std::size_t b, MixtureState& state);
    void repipe(MixtureState& state);
    double prior_cost(const MixtureState& state) const;
    double total(const MixtureState& state) const;
    void curvature(const MixtureState& state);

    std::span<const MixtureBand> bands_;
    MixtureModel model_;
    std::vector<double> unrest_share_;  // of the gain terms, of the first's
    std::vector<MixtureTable> tables_;
    std::vector<Work> work_;
    std::vector<char> used_;
    std::vector<std::vector<std::size_t>> bands_of_;
    std::vector<double> hessian_, gradient_, factor_, step_;
    Series fitted_, product_;  // scratch, of a band's length
    std::vector<double> turns_;
    LoneTone lone_;
    MixtureTable::Sums sums_;
};

}  // namespace rankwright::listening
