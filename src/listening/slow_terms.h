// What changes slowly over a span, as cosines and slopes; and sums of a series over such terms and
// over products of two. As a product of cosines is a sum of two others, all of these sums are made
// of few: of the series with each cosine, and with the time.
#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace rankwright::listening {

/// cosine·cos(π·order·(u + ½)) + slope·u at u, which goes from −½ to ½ over the span. Beyond it the
/// cosine stands where it ended, and the slope goes on.
struct SlowTerm {
    std::size_t order = 0;
    double cosine = 1.0;
    double slope = 0.0;
    double at(double u) const;
};

/// The cosines at samples evenly apart.
class SlowRows {
  public:
    /// `first` and `step`: in spans. `highest`: order of the terms whose products are summed over.
    /// Allocates only where more is needed than ever before.
    void lay(double first, double step, std::size_t samples, std::size_t highest);
    std::size_t samples() const { return time_.size(); }
    /// u of each sample.
    std::span<const double> time() const { return time_; }
    /// Rows of one order after another, from order 0, of so many samples each.
    std::span<const double> cosines() const { return cosines_; }

  private:
    std::vector<double> time_, cosines_;
};

/// What sums of a series are made of.
class SlowMoments {
  public:
    /// Takes those of `series`, a sample for each of the rows', for products of terms up to the
    /// orders `one` and `other`. Requires both to be no higher than the rows' highest.
    void take(const SlowRows& rows, std::span<const double> series, std::size_t one,
              std::size_t other);
    /// Σ series·term.
    double sum(const SlowTerm& term) const {
        return term.cosine * cosine_[term.order] + term.slope * time_cosine_[0];
    }
    /// Σ series·a·b.
    double sum(const SlowTerm& a, const SlowTerm& b) const {
        const std::size_t apart = a.order > b.order ? a.order - b.order : b.order - a.order;
        return 0.5 * a.cosine * b.cosine * (cosine_[a.order + b.order] + cosine_[apart]) +
               a.cosine * b.slope * time_cosine_[a.order] +
               b.cosine * a.slope * time_cosine_[b.order] + a.slope * b.slope * time_time_;
    }

  private:
    std::vector<double> cosine_, time_cosine_, series_;
    double time_time_ = 0.0;
};

}  // namespace rankwright::listening
