// The slow functions of time that a mixture's fit is made of, and sums against products of them.
#pragma once

#include "listening/mixture/bands.h"

#include <complex>
#include <cstddef>
#include <span>
#include <vector>

namespace rankwright::listening {

/// Of one band. Gains are 1 and √2·cos(ju), paths are t and the seconds by which √2·cos(mu) leads
/// where it is a tone's relative pitch; u counts half turns over the span. Their products are
/// cosines and sines of sums and differences, so that few sums serve all pairs.
class MixtureTable {
  public:
    MixtureTable(const MixtureBand& band, double span_s, std::size_t gains, std::size_t paths);

    std::span<const double> path(std::size_t m) const { return {&path_[m * n_], n_}; }
    std::span<const double> gain(std::size_t j) const { return {&gain_[j * n_], n_}; }
    double energy() const { return energy_; }  ///< of the band's samples
    /// Σ gain_i·gain_j.
    double gains(std::size_t i, std::size_t j) const;

    /// Sums of a complex series against what the products are made of.
    struct Sums {
        std::vector<std::complex<double>> cosine, sine, t_cosine;
    };
    /// Enough for `gains` of these.
    void sum_for_gains(const double* re, const double* im, Sums& sums) const;
    /// Σ gain_i·gain_j·series.
    static std::complex<double> gains(const Sums& sums, std::size_t i, std::size_t j);
    /// Enough for `gain_path`.
    void sum_for_gain_paths(const double* re, const double* im, Sums& sums) const;
    /// Σ gain_j·path_m·series.
    std::complex<double> gain_path(const Sums& sums, std::size_t j, std::size_t m) const;
    /// Σ path_m·path_l·series for all m and l, row by row.
    void paths(const double* series, std::vector<double>& sums) const;

  private:
    double lead(std::size_t m) const;

    std::size_t n_, gains_, paths_;
    double span_s_, energy_ = 0.0;
    std::vector<double> path_, gain_;
    std::vector<double> cosine_, sine_;      // [order][n], of order·u
    std::vector<double> t_cosine_, t_sine_;  // [order][n], times t
    std::vector<double> t_square_;
    std::vector<double> means_;  // [gains][gains]
};

}  // namespace rankwright::listening
