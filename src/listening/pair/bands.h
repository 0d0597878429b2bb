// The sound of a reference and a pipe, cut into narrow bands around their partials.
#pragma once

#include "core/units.h"

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace rankwright::listening {

/// Where partials of the two can lie. One number, 0, where only the other has a partial.
struct PairLine {
    int reference_partial = 0;
    int pipe_partial = 0;
    double centre_hz = 0.0;      ///< shifted to zero
    double half_width_hz = 0.0;  ///< the tones are within this of it
    double spacing_hz = 0.0;     ///< the nearest other line is at least this far from the centre
};

/// One band: x·e^{−2πi·centre·t}, low-passed and decimated, t from the middle of the span.
struct PairBand {
    PairLine line;
    double rate = 0.0;       ///< samples a second
    double first_s = 0.0;    ///< time of z[0], from the middle of the span
    double floor = 0.0;      ///< variance of a sample by the noise between the partials
    double whiteness = 1.0;  ///< noise variance if the band were flat, over what the filter leaves
    std::vector<std::complex<double>> z;
    /// 0 for samples that something hid; empty: all were heard.
    std::vector<double> heard;
};

/// Density of the noise around a frequency, from a spectrum of the whole span.
class NoiseFloor {
  public:
    NoiseFloor(std::span<const float> samples, SampleRate rate);
    /// Variance that a sample of white noise of the same density as found at `from_hz` to `to_hz`
    /// would have: a median, so that lines there don't count.
    double variance(double from_hz, double to_hz) const;
    /// Largest amplitude squared of a line between the two.
    double line_power(double from_hz, double to_hz) const;

  private:
    double hz_per_bin_ = 0.0;
    std::vector<float> power_;  // |X|², scaled so that white noise has the mean of its variance
    double line_gain_ = 0.0;    // from power_ to amplitude squared of a line
    mutable std::vector<float> scratch_;
};

/// What cuts a band: shift, low-pass and decimation in one. One output every `step` samples.
struct BandFilter {
    /// For sound of about `seconds`, at an output rate of at least `least_rate` a second.
    BandFilter(SampleRate rate, const PairLine& line, double seconds, double least_rate = 0.0);
    std::size_t length() const { return real.size(); }
    /// Of `length()` samples around frame `middle`, against a phase of 0 at frame 0.
    std::complex<double> at(const float* samples, double middle) const;

    double cycles = 0.0;  ///< a sample, of the centre
    std::size_t step = 1;
    std::size_t half = 0;    ///< samples on either side of the middle one
    double rate = 0.0;       ///< outputs a second
    double whiteness = 1.0;  ///< as in PairBand
    std::vector<float> real, imaginary;
};

/// Cuts one band. Empty z where the span is too short for its filter.
PairBand cut_band(std::span<const float> samples, SampleRate rate, const PairLine& line);

}  // namespace rankwright::listening
