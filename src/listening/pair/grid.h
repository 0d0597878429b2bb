// Two steady tones on a grid of offsets, before anything is fitted to them.
#pragma once

#include "listening/pair/bands.h"

#include <cstddef>
#include <span>
#include <vector>

namespace rankwright::listening {

/// How well tones explain bands, each with an amplitude and a slope of its own. What depends on one
/// tone's place only, or on how far the two are apart, is made once.
class PairGrid {
  public:
    /// `turns`: of each band's tones while a tone at the first meeting turns once; `step`: of the
    /// grid there, Hz. The reference lies up to `around` steps from nominal, the pipe up to `reach`
    /// of them, which are no fewer. The bands' middles have to be the span's.
    PairGrid(std::span<const PairBand> bands, std::span<const double> turns, double step,
             int around, int reach);
    /// ln of likelihood with tones at these steps from nominal.
    double evidence(int reference, int pipe) const;
    /// The same for each place of the pipe, from −reach to reach, into `row`.
    void lay_evidence(int reference, std::span<double> row) const;
    /// How much one tone at this step explains by itself, where the reference has partials, or the
    /// pipe.
    double alone(bool pipe, int at) const;

  private:
    struct Sums {
        bool reference = false, pipe = false;  // has such a partial
        std::vector<double> power;             // of a tone's sum, over the noise in it
        // Σ conj(tone)·z at each place and the same by the slope, each by the root of its own
        // information; and what the two explain.
        std::vector<double> whole_re, whole_im, slope_re, slope_im, explained;
        // Of two so many steps apart, the pipe from −(around + reach) from the reference on: how
        // much alike they are, over the whole, between that and the slope (imaginary), and over
        // the slope; by what what is left of the pipe's counts, and ln of the determinant.
        std::vector<double> alike, between, alike_slope;
        std::vector<double> of_whole, of_slope, of_both, determinant;
    };
    void lay_band(const PairBand& band, double step_hz);
    /// `overlap`: Σ tone·slope^k so many steps apart, of k = 1 the imaginary part.
    void lay_apart(Sums& sums, const std::vector<double> (&overlap)[3], double steady,
                   double sloping) const;
    void add(const Sums& sums, int reference, int first_pipe, std::span<double> to) const;

    int around_, reach_;
    std::vector<Sums> sums_;
};

}  // namespace rankwright::listening
