#include "tuning/steady_mean.h"

#include <algorithm>
#include <cmath>

namespace rankwright::tuning {

namespace {
// A pipe that was tapped stands elsewhere for good; a gust of wander comes back sooner than this.
constexpr double kStepLasts_s = 0.3;
constexpr double kStepInSd = 3.5;
constexpr double kLeastStep_cents = 0.5;
}  // namespace

void SteadyMean::restart() {
    count_ = 0;
    away_ = 0;
}

void SteadyMean::add(Seconds at, Cents reading, Cents uncertainty) {
    const double at_s = at.count();
    if (count_ != 0 && stepped_away(reading.value(), uncertainty.value())) {
        if (away_++ == 0) away_since_s_ = at_s;
        if (at_s - away_since_s_ < kStepLasts_s) return;
        restart();
    }
    away_ = 0;
    if (count_ == 0 || at_s - batches_[count_ - 1].began_s >= kBatch.count()) {
        const bool full =
            count_ == kMost || (count_ != 0 && at_s - batches_[0].began_s > kLongest.count());
        if (full) {
            std::move(batches_.begin() + 1, batches_.begin() + static_cast<long>(count_),
                      batches_.begin());
            --count_;
        }
        batches_[count_++] = {at_s, 0.0, 0.0, 0};
    }
    Batch& batch = batches_[count_ - 1];
    batch.sum += reading.value();
    batch.sum_sd += uncertainty.value();
    ++batch.count;
    last_s_ = at_s;
}

bool SteadyMean::stepped_away(double reading, double sd) const {
    const double here = mean()->value();
    const double spread = std::hypot(sd, scatter());
    return std::abs(reading - here) > std::max(kLeastStep_cents, kStepInSd * spread);
}

double SteadyMean::scatter() const {
    if (count_ < 3) return 0.0;
    const double here = mean()->value();
    double sum = 0.0;
    for (std::size_t i = 0; i < count_; ++i)
        sum += std::pow(batches_[i].mean() - here, 2);
    return std::sqrt(sum / static_cast<double>(count_ - 1));
}

std::optional<Cents> SteadyMean::mean() const {
    if (count_ == 0) return std::nullopt;
    double sum = 0.0;
    for (std::size_t i = 0; i < count_; ++i)
        sum += batches_[i].mean();
    return Cents{sum / static_cast<double>(count_)};
}

std::optional<Cents> SteadyMean::uncertainty() const {
    if (count_ == 0) return std::nullopt;
    double own = 0.0;
    for (std::size_t i = 0; i < count_; ++i)
        own += batches_[i].sd();
    own /= static_cast<double>(count_);
    // Neighbouring readings rest on the same sound: a batch knows no more than one reading.
    const double batches = static_cast<double>(count_);
    return Cents{std::max(own, scatter()) / std::sqrt(batches)};
}

Seconds SteadyMean::span() const {
    return Seconds{count_ == 0 ? 0.0 : last_s_ - batches_[0].began_s};
}

std::optional<SteadyMean::Drift> SteadyMean::drift() const {
    if (count_ < 4) return std::nullopt;
    const double n = static_cast<double>(count_);
    double mean_t = 0.0;
    for (std::size_t i = 0; i < count_; ++i)
        mean_t += batches_[i].began_s / n;
    const double mean_c = mean()->value();
    double tt = 0.0;
    double tc = 0.0;
    for (std::size_t i = 0; i < count_; ++i) {
        const double t = batches_[i].began_s - mean_t;
        tt += t * t;
        tc += t * (batches_[i].mean() - mean_c);
    }
    const double slope = tc / tt;
    double left = 0.0;
    for (std::size_t i = 0; i < count_; ++i)
        left += std::pow(batches_[i].mean() - mean_c - slope * (batches_[i].began_s - mean_t), 2);
    return Drift{slope, std::sqrt(left / (n - 2.0) / tt)};
}

}  // namespace rankwright::tuning
