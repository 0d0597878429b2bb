#include "listening/mixture/table.h"

#include "listening/sample_sums.h"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace rankwright::listening {

namespace {

using Complex = std::complex<double>;
constexpr double kRoot2 = std::numbers::sqrt2;

}  // namespace

MixtureTable::MixtureTable(const MixtureBand& band, double span_s, std::size_t gains,
                           std::size_t paths)
    : n_(band.size()),
      gains_(gains),
      paths_(paths),
      span_s_(span_s),
      path_(paths * n_),
      gain_(gains * n_),
      cosine_((2 * std::max(gains, paths) - 1) * n_),
      sine_((gains + paths - 1) * n_),
      t_cosine_(gains * n_),
      t_sine_(paths * n_),
      t_square_(n_),
      means_(gains * gains) {
    std::vector<double> turns(n_), once_re(n_), once_im(n_), re(n_, 1.0), im(n_, 0.0);
    for (std::size_t i = 0; i < n_; ++i) {
        path_[i] = band.first_s + static_cast<double>(i) / band.rate;
        turns[i] = 0.5 * (path_[i] / span_s + 0.5);
        t_square_[i] = path_[i] * path_[i];
    }
    lay_circle(turns.data(), once_re.data(), once_im.data(), n_);
    const double* t = path_.data();
    const std::size_t orders = cosine_.size() / n_;
    for (std::size_t order = 0; order < orders; ++order) {
        double* cosine = &cosine_[order * n_];
        for (std::size_t i = 0; i < n_; ++i) {
            cosine[i] = re[i];
            if (order < gains_) {
                gain_[order * n_ + i] = order == 0 ? 1.0 : kRoot2 * re[i];
                t_cosine_[order * n_ + i] = t[i] * re[i];
            }
            if (order > 0 && order < paths_) {
                path_[order * n_ + i] = lead(order) * im[i];
                t_sine_[order * n_ + i] = t[i] * im[i];
            }
            if (order < gains_ + paths_ - 1) sine_[order * n_ + i] = im[i];
            const double next = re[i] * once_re[i] - im[i] * once_im[i];
            im[i] = re[i] * once_im[i] + im[i] * once_re[i];
            re[i] = next;
        }
    }
    for (std::size_t i = 0; i < gains_; ++i)
        for (std::size_t j = 0; j < gains_; ++j)
            means_[i * gains_ + j] = sum2(&gain_[i * n_], &gain_[j * n_], n_);
    energy_ = sum2(band.re.data(), band.re.data(), n_) + sum2(band.im.data(), band.im.data(), n_);
}

// The integral of √2·cos(mu) over time is this times sin(mu).
double MixtureTable::lead(std::size_t m) const {
    return kRoot2 * span_s_ / (std::numbers::pi * static_cast<double>(m));
}

double MixtureTable::gains(std::size_t i, std::size_t j) const { return means_[i * gains_ + j]; }

void MixtureTable::sum_for_gains(const double* re, const double* im, Sums& sums) const {
    sums.cosine.resize(2 * gains_ - 1);
    weighted_sums(cosine_.data(), sums.cosine.size(), re, im, n_, sums.cosine.data());
}

Complex MixtureTable::gains(const Sums& sums, std::size_t i, std::size_t j) {
    if (i < j) std::swap(i, j);
    if (j == 0) return i == 0 ? sums.cosine[0] : kRoot2 * sums.cosine[i];
    return sums.cosine[i - j] + sums.cosine[i + j];
}

void MixtureTable::sum_for_gain_paths(const double* re, const double* im, Sums& sums) const {
    sums.sine.assign(gains_ + paths_ - 1, 0.0);
    sums.t_cosine.resize(gains_);
    if (paths_ > 1) weighted_sums(&sine_[n_], sums.sine.size() - 1, re, im, n_, &sums.sine[1]);
    weighted_sums(t_cosine_.data(), gains_, re, im, n_, sums.t_cosine.data());
}

Complex MixtureTable::gain_path(const Sums& sums, std::size_t j, std::size_t m) const {
    if (m == 0) return j == 0 ? sums.t_cosine[0] : kRoot2 * sums.t_cosine[j];
    if (j == 0) return lead(m) * sums.sine[m];
    const Complex difference = m >= j ? sums.sine[m - j] : -sums.sine[j - m];
    return lead(m) / kRoot2 * (sums.sine[m + j] + difference);
}

void MixtureTable::paths(const double* series, std::vector<double>& sums) const {
    sums.resize(paths_ * paths_);
    std::vector<double> cosine(paths_ > 1 ? 2 * paths_ - 1 : 0), t_sine(paths_);
    sum_rows(cosine_.data(), cosine.size(), series, n_, cosine.data());
    sum_rows(t_sine_.data(), paths_, series, n_, t_sine.data());
    sums[0] = sum2(t_square_.data(), series, n_);
    for (std::size_t m = 1; m < paths_; ++m) {
        sums[m] = sums[m * paths_] = lead(m) * t_sine[m];
        for (std::size_t l = 1; l <= m; ++l)
            sums[m * paths_ + l] = sums[l * paths_ + m] =
                0.5 * lead(m) * lead(l) * (cosine[m - l] - cosine[m + l]);
    }
}

}  // namespace rankwright::listening
