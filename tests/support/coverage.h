// How errors lie beside the uncertainties given with them.
#pragma once

#include <algorithm>
#include <cmath>
#include <vector>

namespace rankwright::testing {

/// Errors and uncertainties, in one unit, of many cases.
class Errors {
  public:
    void add(double error, double uncertainty) {
        errors_.push_back(std::abs(error));
        in_sd_.push_back(std::abs(error) / uncertainty);
        uncertainties_.push_back(uncertainty);
    }
    std::size_t count() const { return errors_.size(); }
    double rms() const {
        double sum = 0.0;
        for (const double e : errors_)
            sum += e * e;
        return std::sqrt(sum / static_cast<double>(errors_.size()));
    }
    double median() const { return share(errors_, 0.5); }
    double worst_of_20() const { return share(errors_, 0.95); }  ///< 95 % lie within
    double worst() const { return share(errors_, 1.0); }
    double median_uncertainty() const { return share(uncertainties_, 0.5); }
    /// Share of errors within `times` their uncertainty.
    double within(double times) const {
        const auto inside =
            std::count_if(in_sd_.begin(), in_sd_.end(), [times](double z) { return z <= times; });
        return static_cast<double>(inside) / static_cast<double>(in_sd_.size());
    }

  private:
    static double share(std::vector<double> values, double part) {
        if (values.empty()) return 0.0;
        std::sort(values.begin(), values.end());
        const auto at = static_cast<std::size_t>(part * static_cast<double>(values.size()));
        return values[std::min(at, values.size() - 1)];
    }
    std::vector<double> errors_, in_sd_, uncertainties_;
};

}  // namespace rankwright::testing
