// What changes slowly over a span, as cosines and slopes; and sums of a series over such terms and
// over products of some. As a product of cosines is a sum of two others, all of these sums are made
// of few: of the series with each cosine, and with the time and its square.
#pragma once

#include <array>
#include <complex>
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

/// Terms of the orders from 0 on.
struct SlowTerms {
    std::vector<double> cosine, slope;
    void resize(std::size_t terms) {
        cosine.resize(terms);
        slope.resize(terms);
    }
    std::size_t size() const { return cosine.size(); }
    SlowTerm operator[](std::size_t order) const { return {order, cosine[order], slope[order]}; }
    void set(std::size_t order, double of_cosine, double of_slope) {
        cosine[order] = of_cosine;
        slope[order] = of_slope;
    }
};

/// The cosines at samples evenly apart.
class SlowRows {
  public:
    /// `first` and `step`: in spans. `orders`: how many cosines there are, from order 0 on; at
    /// least one. Allocates only where more is needed than ever before.
    void lay(double first, double step, std::size_t samples, std::size_t orders);
    std::size_t samples() const { return time_.size(); }
    /// u of each sample.
    std::span<const double> time() const { return time_; }
    /// Rows of one order after another, of so many samples each.
    std::span<const double> cosines() const { return cosines_; }

  private:
    std::vector<double> time_, cosines_;
};

/// A complex series, parts apart so that sums run in parallel.
struct SlowSeries {
    std::vector<double> re, im;
    void resize(std::size_t samples) {
        re.resize(samples);
        im.resize(samples);
    }
};

/// What sums of a complex series are made of.
class SlowMoments {
  public:
    /// How many orders there are: of sums with a cosine, with u·cosine and with u²·cosine.
    using Orders = std::array<std::size_t, 3>;

    /// Takes those of `series`, a sample for each of the rows', that aren't there since clear(); it
    /// needs it no longer, and it is written over. Requires as many cosines. Allocates only where
    /// more is needed than ever before.
    void take(const SlowRows& rows, SlowSeries& series, const Orders& orders);
    /// The moments of the series times Σ factor·cosine, factors from order 0 on, conjugated or not:
    /// as many orders fewer as there are factors but one. Allocates as above.
    void take_product(const SlowMoments& of, std::span<const std::complex<double>> factors,
                      bool conjugate);
    /// Those of the conjugate series.
    void conjugate();
    void clear() { orders_ = {}; }
    const Orders& orders() const { return orders_; }

    /// Σ series·term.
    std::complex<double> sum(const SlowTerm& term) const;
    /// Σ series·a·term for each of the first `count` of `terms`: real parts and imaginary ones,
    /// either where there is room for them. Requires the cosines up to both orders' sum; where
    /// either has a slope u·cosine up to the other's order, and where both have, u².
    void sums(const SlowTerm& a, const SlowTerms& terms, std::size_t count, double* re,
              double* im) const;

  private:
    /// Of the orders from −(most − 1) to most − 1; those of −k are those of k. A register more.
    struct Power {
        std::vector<double> re, im;
    };
    void resize(const Orders& orders);
    void mirror();
    std::size_t middle(std::size_t power) const { return orders_[power] - 1; }

    Orders orders_{};
    std::array<Power, 3> powers_;
    std::vector<std::complex<double>> sums_;
};

}  // namespace rankwright::listening
