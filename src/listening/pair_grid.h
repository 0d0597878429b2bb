// Two steady tones on a grid of offsets, before anything is fitted to them.
#pragma once

#include "listening/pair_bands.h"

#include <complex>
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
    /// of them, which are no fewer.
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
    /// Complex numbers, parts apart.
    struct Parts {
        std::vector<double> re, im;
        void resize(std::size_t n) {
            re.resize(n);
            im.resize(n);
        }
        void set(std::size_t at, std::complex<double> value) {
            re[at] = value.real();
            im[at] = value.imag();
        }
    };
    struct Sums {
        bool reference = false, pipe = false;  // has such a partial
        std::vector<double> power;             // of a tone's sum, over the noise in it
        // Of a tone at each place: by the factor of its own matrix, and what it explains.
        Parts whole, slope;
        std::vector<double> explained;
        // Of two so many steps apart, from the pipe −(around + reach) from the reference on: what
        // the pipe's adds is what they leave of it, by the factor of what is left of its matrix.
        Parts of_whole[2], of_slope[2];  // times the reference's two
        std::vector<double> over_whole, over_slope, determinant;
        Parts over_cross;
    };
    void lay_band(const PairBand& band, double step_hz);
    void lay_apart(Sums& sums, const std::vector<std::complex<double>> (&overlap)[3],
                   const double (&factor)[3]) const;
    void add(const Sums& sums, int reference, int first_pipe, std::span<double> to) const;

    int around_, reach_;
    std::vector<Sums> sums_;
};

}  // namespace rankwright::listening
